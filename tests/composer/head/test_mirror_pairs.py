"""Mirror partners of hairs on uneven skin: they stand closer to each other than the face is uneven.

The truth is planted: a head is made even, hair by hair, and then pushed out of shape with every hair carried by the
triangle on which it stands. What the connectivity and the numbering of the even head say stays true.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.symmetry import mirror_map
from tests.composer.demo.library_fixtures import face
from tests.small_heads import grid

ROWS, SIDE, HAIRS, STEPS = 13, 6, 40, 4
"""Rows of the sheet, its columns on either side, hairs on a side, and rows of a hair."""
FLIP = np.array([-1.0, 1.0, 1.0])


def frames(corners: NDArray) -> NDArray:
    """(k, 3, 3) an orthonormal frame of triangles (k, 3, 3), in rows."""
    along = corners[:, 1] - corners[:, 0]
    along = along / np.linalg.norm(along, axis=1)[:, None]
    out = np.cross(along, corners[:, 2] - corners[:, 0])
    out = out / np.linalg.norm(out, axis=1)[:, None]
    return np.stack([along, np.cross(out, along), out], axis=1)


def within(places: NDArray, corners: NDArray) -> tuple[NDArray, NDArray]:
    """Which of the triangles (t, 3, 2) each of `places` (k, 2) lies in, and its weights (k, 3) there."""
    a, one, two = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    to = places[:, None] - a
    det = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    v = (to[..., 0] * two[:, 1] - to[..., 1] * two[:, 0]) / det
    w = (one[:, 0] * to[..., 1] - one[:, 1] * to[..., 0]) / det
    weights = np.stack([1 - v - w, v, w], axis=-1)
    at = weights.min(axis=2).argmax(axis=1)
    return at, weights[np.arange(len(places)), at]


def hairy(rng: np.random.Generator, standing: bool) -> tuple[Polygons, NDArray, NDArray]:
    """An uneven sheet across x = 0 with HAIRS hairs a side that stand on it with their roots, or lie on it with all of
    their vertices, in any order of vertices: its mesh, positions (n, 3), and true partners (n,)."""
    x, y = np.meshgrid(10.0 * np.arange(-SIDE, SIDE + 1), 10.0 * np.arange(ROWS))
    even = np.stack([x, y, 20.0 * np.cos(x / 40.0)], axis=-1).reshape(-1, 3)
    mesh, mirrored = grid(ROWS, 2 * SIDE + 1), np.arange(x.size).reshape(x.shape)[:, ::-1].ravel()
    wave = rng.uniform(0, 6, size=3) + np.outer(y.ravel(), rng.uniform(0.02, 0.05, size=3))
    uneven = even + 6.0 * np.sin(wave) + 3.0 * np.sin(x.ravel() / 15.0)[:, None] * rng.normal(size=3)
    left = mesh.triangles[(even[mesh.triangles][:, :, 0] >= 0).all(axis=1)]
    root = rng.uniform((15, 40), (45, 70), size=(HAIRS, 2))
    way = np.radians(90 + rng.normal(0, 25, HAIRS)[:, None] + (0, 90))  # along a hair, and across it
    along, across = np.cos(way), np.sin(way)
    step, half = 2.0 * np.arange(STEPS)[:, None], 0.15 * np.array([-1.0, 1.0])
    flat = step[..., None] * np.stack([along[:, 0], across[:, 0]], axis=1)[:, None, None]
    flat = flat + half[:, None] * np.stack([along[:, 1], across[:, 1]], axis=1)[:, None, None]
    up = np.full((HAIRS, STEPS, 2, 1), 0.1)
    places = root[:, None, None] + flat
    if standing:
        up, places = step[..., None] + np.zeros_like(up), np.broadcast_to(root[:, None, None], flat.shape)
    off = np.concatenate([0.3 * flat if standing else 0.0 * flat, up], axis=-1).reshape(-1, 3)
    at, bary = within(places.reshape(-1, 2), even[left][:, :, :2])
    points = [uneven]
    for corners, flip in ((left[at], np.ones(3)), (mirrored[left[at]], FLIP)):
        under = (uneven * flip)[corners]
        foot = np.einsum("kc,kcx->kx", bary, under)
        points.append((foot + np.einsum("kij,ki->kj", frames(under), off)) * flip)
    n, own = len(even), np.arange(len(off))
    quads = np.array([[j, j + 1, j + 3, j + 2] for j in range(0, 2 * STEPS - 2, 2)])
    strips = (n + 2 * STEPS * np.arange(HAIRS)[:, None, None] + quads).reshape(-1, 4)
    indices = np.concatenate([mesh.indices, strips.ravel(), (strips[:, ::-1] + len(own)).ravel()])
    partner = np.concatenate([mirrored, n + len(own) + own, n + own])
    order = rng.permutation(len(partner))
    place = np.argsort(order)
    whole = Polygons(np.full(len(indices) // 4, 4), place[indices], len(partner))
    return whole, np.vstack(points)[order], place[partner[order]]


@pytest.mark.parametrize("standing", [True, False])
@settings(deadline=None, max_examples=8)
@given(seed=st.integers(0, 2**32 - 1))
def test_hairs_find_their_partners_by_the_skin_that_they_stand_on(standing: bool, seed: int) -> None:
    mesh, points, partner = hairy(np.random.default_rng(seed), standing)
    found = mirror_map(mesh, points)
    assert found.whole
    np.testing.assert_array_equal(found.partner, partner)


@pytest.mark.parametrize("name", ["au01_left", "au05_right"])
def test_a_head_with_one_brow_or_one_lid_raised_mirrors_hair_by_hair(name: str) -> None:
    """The partners are those that the demo's maker knows; brow and lashes move by several spacings of hairs."""
    head = face("keeper").head
    found = mirror_map(head.polygons, head.neutral + head.shape(name).delta)
    assert found.whole
    np.testing.assert_array_equal(found.partner, face("keeper").neutral.mirror)
