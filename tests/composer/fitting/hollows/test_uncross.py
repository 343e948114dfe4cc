"""Skin through skin taken back: what crosses never grows, what is fixed stays, and a pushed sheet comes free."""

from __future__ import annotations

import numpy as np
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.fitting.hollows.pushed_apart import push_apart
from composer.fitting.hollows.uncross import Uncrossing
from composer.fitting.reference_shape import shaped
from composer.geometry.polygons import Polygons
from tests.real_library import real_neutral

SIDE = 14


def pocket() -> tuple[Polygons, np.ndarray]:
    """A flat bag, mm: two sheets of 14 by 14 vertices, 4 apart, joined along one side as an ear's two skins are."""
    i = np.arange(2 * SIDE * SIDE).reshape(2 * SIDE, SIDE)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    row = np.arange(2 * SIDE)
    under = row < SIDE
    x = np.where(under, row, 2 * SIDE - 1 - row) * 2.0
    points = np.stack(np.broadcast_arrays(x[:, None], np.arange(SIDE) * 2.0, np.where(under, 0.0, 4.0)[:, None]), -1)
    return Polygons(np.full(len(quads), 4), quads.ravel(), len(row) * SIDE), points.reshape(-1, 3).copy()


def pushed(points: np.ndarray, at: tuple[float, float], deep: float, width: float) -> np.ndarray:
    """The lower sheet pushed up through the upper about a place."""
    under = points[:, 2] < 2.0
    away = ((points[:, :2] - at) ** 2).sum(axis=1) / width**2
    out = points.copy()
    out[:, 2] += np.where(under, deep * np.exp(-away), 0.0)
    return out


def uncrossing() -> tuple[Uncrossing, np.ndarray]:
    polygons, points = pocket()
    return Uncrossing.of(polygons, points, np.where(points[:, 2] < 2.0, 0.2, 0.9)), points


@settings(max_examples=5)
@given(st.floats(2.0, 20.0), st.floats(4.0, 22.0), st.floats(4.5, 9.0), st.floats(3.0, 7.0), st.integers(0, 2**31 - 1))
def test_fewer_cross_and_fixed_vertices_stay(x: float, y: float, deep: float, width: float, seed: int) -> None:
    tables, rest = uncrossing()
    start = pushed(rest, (x, y), deep, width)
    fixed = np.random.default_rng(seed).random(len(rest)) < 0.1
    state = tables.test.at(start)
    before, bad = len(tables.new(state.pairs)), tables.loops.bad(start).sum()
    moved = tables.apply(state, np.zeros(len(rest), dtype=bool), fixed)
    assert len(tables.new(state.pairs)) <= before
    assert tables.loops.bad(state.positions).sum() <= bad
    np.testing.assert_array_equal(state.positions[fixed | ~moved], start[fixed | ~moved])
    np.testing.assert_array_equal(state.pairs, tables.test.pairs(state.positions))


@settings(max_examples=10)
@given(st.floats(6.0, 16.0), st.floats(6.0, 20.0), st.floats(4.5, 8.0))
def test_a_sheet_through_another_comes_free_and_the_hidden_one_gives_way(x: float, y: float, deep: float) -> None:
    tables, rest = uncrossing()
    start = pushed(rest, (x, y), deep, 5.0)
    state = tables.test.at(start)
    tables.apply(state, np.zeros(len(rest), dtype=bool), np.zeros(len(rest), dtype=bool))
    assert not len(tables.new(state.pairs))
    hidden = rest[:, 2] < 2.0
    shift = np.linalg.norm(state.positions - start, axis=1)
    assert shift[hidden].max() > shift[~hidden].max()


def test_what_crosses_on_the_library_is_left_alone() -> None:
    polygons, points = pocket()
    known = pushed(points, (10.0, 12.0), 6.0, 5.0)
    tables = Uncrossing.of(polygons, known, np.ones(len(points)))
    state = tables.test.at(known)
    none = np.zeros(len(points), dtype=bool)
    assert len(state.pairs) and not tables.apply(state, none, none).any()
    np.testing.assert_array_equal(state.positions, known)


@settings(max_examples=10)
@given(st.integers(0, 2**31 - 1), st.floats(0.6, 1.6))
def test_a_linked_patch_of_a_turned_and_scaled_whole_does_not_move(seed: int, scale: float) -> None:
    tables, rest = uncrossing()
    random = np.random.default_rng(seed)
    turn = trimesh.transformations.random_rotation_matrix(random.random(3))[:3, :3]
    start = scale * rest @ turn.T + random.normal(0.0, 50.0, 3)
    moving = np.flatnonzero(random.random(len(rest)) < 0.3)
    links = random.integers(0, len(rest), (40, 2))
    links = np.unique(np.sort(links[links[:, 0] != links[:, 1]], axis=1), axis=0)
    found = shaped(tables.polygons, start, tables.loops, rest, moving, 1e-6, 5, True, links)
    np.testing.assert_allclose(found, start, atol=1e-6)


def test_lips_that_cross_on_a_real_library_are_pushed_apart_by_fractions_of_a_mm() -> None:
    polygons, points = real_neutral()
    first = np.logical_and.reduceat(polygons.indices < 9409, polygons.starts[:-1])  # the skin of the face
    skin = Polygons(polygons.counts[first], polygons.indices[first[polygons.corner_face]], 9409)
    rest = np.ascontiguousarray(points[:9409])
    tables = Uncrossing.of(skin, rest, np.ones(9409))
    state = tables.test.at(rest)
    assert tables.test.count(state.pairs) == 58  # as the library's own description counts them
    moved = push_apart(tables, state, np.zeros(9409, dtype=bool))
    assert tables.test.count(state.pairs) < 20
    assert not tables.loops.bad(state.positions).any()
    np.testing.assert_array_equal(state.positions[~moved], rest[~moved])
    assert np.linalg.norm(state.positions - rest, axis=1).max() < 0.5
    held = tables.test.at(rest)
    assert not push_apart(tables, held, np.ones(9409, dtype=bool)).any()
