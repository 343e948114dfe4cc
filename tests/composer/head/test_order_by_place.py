"""Hundreds of pieces that are one mesh: each is matched with the one in whose place it lies, as a walk would do it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import TextureCoordinates
from composer.head.order import match_order
from tests.composer.head.test_order import head_like, moved, shuffled
from tests.small_heads import random_rotation

SEEDS = st.integers(0, 2**32 - 1)
HAIRS, RINGS = 12, 4


def hairy(rng: np.random.Generator) -> tuple[Polygons, np.ndarray]:
    """A skin, two balls, and hairs of four sides that stand in rows on it, all of one mesh."""
    mesh, points = head_like(rng)
    faces, places, n = [mesh.face(i).tolist() for i in range(mesh.n_faces)], [points], mesh.n_vertices
    around = 0.04 * np.array([[1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0.0]])
    for hair in range(HAIRS):
        root = np.array([hair % 8 - 3.5, hair // 8 - 2.0, 5.0])
        bend = 0.01 * rng.normal(size=3)
        places += [root + around + bend * ring + [0, 0, 0.3 * ring] for ring in range(RINGS)]
        for ring in range(RINGS - 1):
            at = n + 4 * ring
            faces += [[at + i, at + (i + 1) % 4, at + 4 + (i + 1) % 4, at + 4 + i] for i in range(4)]
        n += 4 * RINGS
    return Polygons.from_faces(faces, n), np.vstack(places)


@settings(deadline=None, max_examples=4)
@given(seed=SEEDS, noise=st.sampled_from([0.0, 0.003, 0.012]))
def test_every_hair_is_matched_with_its_own(seed: int, noise: float) -> None:
    """Truth is the permutation that was drawn. The largest noise leaves some hairs unclear, which are then walked."""
    rng = np.random.default_rng(seed)
    mesh, points = hairy(rng)
    other, order, faces = shuffled(mesh, rng)
    there = 25.4 * (points + noise * rng.normal(size=points.shape)) @ random_rotation(rng).T + rng.normal(size=3)
    found = match_order(mesh, other, points, moved(there, order))
    assert np.array_equal(found.vertices, order) and np.array_equal(found.polygons, faces)
    assert np.array_equal(other.indices[found.corners], order[mesh.indices])
    assert found.decided == "geometry"


def test_hairs_that_were_combed_onto_their_neighbours_are_told_by_their_form() -> None:
    """Every hair lies nearer to the next one's place than to its own, but not far nearer: place is no evidence then."""
    rng = np.random.default_rng(3)
    mesh, points = hairy(rng)
    other, order, _ = shuffled(mesh, rng)
    there = points.copy()
    there[-4 * RINGS * HAIRS :, 0] += 0.6
    found = match_order(mesh, other, points, moved(there, order))
    assert np.array_equal(found.vertices, order)


@pytest.mark.parametrize("by", ["uv", "landmark"])
def test_what_counts_more_than_place_is_not_overruled_by_it(by: str) -> None:
    """Two hairs have changed places: their texture coordinates, or landmarks on a ring of each, tell so."""
    rng = np.random.default_rng(5)
    mesh, points = hairy(rng)
    other, order, faces = shuffled(mesh, rng)
    there = points.copy()
    first, second = (slice(at, at + 4 * RINGS) for at in (len(points) - 4 * RINGS, len(points) - 8 * RINGS))
    there[first], there[second] = points[second], points[first]
    if by == "landmark":
        ring = np.r_[np.arange(len(points))[first][:4], np.arange(len(points))[second][:4]]
        marks = np.stack([ring, order[ring]], axis=1)
        found = match_order(mesh, other, points, moved(there, order), landmarks=marks)
    else:
        uv = TextureCoordinates(rng.random((len(mesh.indices), 2)), np.arange(len(mesh.indices), dtype=np.int32))
        corner = np.empty(len(mesh.indices), dtype=np.int32)
        for face in range(mesh.n_faces):
            at, loop = int(other.starts[faces[face]]), other.face(int(faces[face])).tolist()
            for i, v in enumerate(mesh.face(face)):
                corner[at + loop.index(order[v])] = mesh.starts[face] + i
        found = match_order(mesh, other, points, moved(there, order), uv, TextureCoordinates(uv.uv, corner))
    assert np.array_equal(found.vertices, order)


def test_a_hair_of_another_mesh_on_the_same_spots_is_not_taken() -> None:
    """Every vertex lies on its own, yet a polygon turned over makes it another mesh: it is refused, not laid."""
    rng = np.random.default_rng(7)
    mesh, points = hairy(rng)
    faces = [mesh.face(i).tolist() for i in range(mesh.n_faces)]
    faces[-6] = faces[-6][::-1]
    other, order, _ = shuffled(Polygons.from_faces(faces, mesh.n_vertices), rng)
    with pytest.raises(MoueError, match="turned over"):
        match_order(mesh, other, points, moved(points, order))
