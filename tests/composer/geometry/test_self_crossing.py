"""Polygons of one mesh that cross: against exact rational arithmetic, against CGAL, and kept up to date."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.flat_fans import FlatFans
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.self_intersection import own_candidate_pairs
from tests.real_library import real_neutral

Point = tuple[Fraction, Fraction, Fraction]


def volume(a: Point, b: Point, c: Point, d: Point) -> Fraction:
    """Six times the signed volume of a tetrahedron, exactly."""
    u, v, w = ([p[i] - a[i] for i in range(3)] for p in (b, c, d))
    return (
        u[0] * (v[1] * w[2] - v[2] * w[1]) - u[1] * (v[0] * w[2] - v[2] * w[0]) + u[2] * (v[0] * w[1] - v[1] * w[0])
    )  # fmt: skip


def edge_through(p: Point, q: Point, triangle: list[Point]) -> bool:
    """Whether the edge passes through the triangle, its rim included, by signs of volumes (Guigue and Devillers 2003,
    "Fast and robust triangle-triangle overlap test using orientation predicates")."""
    a, b, c = triangle
    if volume(a, b, c, p) * volume(a, b, c, q) >= 0:
        return False
    signs = [volume(p, q, *pair) for pair in ((a, b), (b, c), (c, a))]
    return all(s >= 0 for s in signs) or all(s <= 0 for s in signs)


def exact_pairs(points: np.ndarray, triangles: np.ndarray) -> list[list[int]]:
    exact = [(Fraction(int(p[0])), Fraction(int(p[1])), Fraction(int(p[2]))) for p in points]
    found = []
    for i, j in combinations(range(len(triangles)), 2):
        one, other = triangles[i], triangles[j]
        shared = set(one.tolist()) & set(other.tolist())
        if len(shared) > 1:
            continue
        for first, second in ((one, other), (other, one)):
            corners = [exact[v] for v in second]
            edges = [e for e in combinations(first.tolist(), 2) if not shared & set(e)]
            if any(edge_through(exact[p], exact[q], corners) for p, q in edges):
                found.append([i, j])
                break
    return found


@settings(max_examples=30)
@given(st.integers(0, 2**31 - 1), st.integers(3, 12), st.integers(2, 10))
def test_pairs_are_those_of_exact_arithmetic(seed: int, n: int, t: int) -> None:
    random = np.random.default_rng(seed)
    points = random.integers(-(10**6), 10**6, (n, 3))  # so wide that none lies just on a rim
    triangles = np.array([random.choice(n, 3, replace=False) for _ in range(t)])
    test = SelfCrossing(Polygons(np.full(t, 3), triangles.ravel(), n))
    assert test.pairs(points.astype(float)).tolist() == exact_pairs(points, triangles)


def bumpy(seed: int, height: float = 0.9) -> tuple[Polygons, np.ndarray]:
    """A grid of 8 by 8 vertices, shaken until it cuts itself."""
    random = np.random.default_rng(seed)
    i = np.arange(64).reshape(8, 8)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    x, y = np.meshgrid(np.arange(8.0), np.arange(8.0), indexing="ij")
    points = np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3) + random.normal(0.0, height, (64, 3))
    return Polygons(np.full(len(quads), 4), quads.ravel(), 64), points


@settings(max_examples=40)
@given(st.integers(0, 2**31 - 1), st.integers(0, 64))
def test_pairs_kept_up_to_date_are_those_found_anew(seed: int, count: int) -> None:
    polygons, points = bumpy(seed)
    random = np.random.default_rng(seed + 1)
    test = SelfCrossing(polygons)
    state = test.at(points)
    for _ in range(3):
        moved = np.zeros(64, dtype=bool)
        moved[random.choice(64, count, replace=False)] = True
        later = state.positions + np.where(moved[:, None], random.normal(0.0, 1.0, (64, 3)), 0.0)
        pairs = state.tried(later, moved)
        np.testing.assert_array_equal(pairs, test.pairs(later))
        state.move(later, moved, pairs)
    faces = test.faces_of(state.pairs)
    assert (faces[:, 0] < faces[:, 1]).all()
    np.testing.assert_array_equal(np.flatnonzero(test.crossing_faces(state.positions)), np.unique(faces))


@settings(max_examples=30)
@given(st.integers(0, 2**31 - 1), st.integers(0, 40))
def test_own_candidates_are_the_overlapping_boxes_each_once(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    scale = 10.0 ** random.uniform(-3, 1, (count, 1, 1))  # from specks to triangles as large as the whole
    triangles = random.uniform(-1, 1, (count, 1, 3)) + scale * random.uniform(-0.4, 0.4, (count, 3, 3))
    meet = (triangles.max(1)[:, None] >= triangles.min(1)[None]) & (triangles.min(1)[:, None] <= triangles.max(1)[None])
    np.testing.assert_array_equal(
        own_candidate_pairs(triangles), np.argwhere(np.triu(meet.all(axis=2), 1)).reshape(-1, 2)
    )


def cgal_faces(polygons: Polygons, points: np.ndarray) -> np.ndarray:
    """The polygons that cross others by CGAL's exact predicates (through libigl), a part of the test extra alone."""
    cgal = pytest.importorskip("igl.copyleft.cgal")
    pairs = cgal.remesh_self_intersections(points, np.asarray(polygons.triangles, dtype=np.int64), True)[2]
    faces = polygons.triangle_face[pairs]
    return np.unique(faces[faces[:, 0] != faces[:, 1]])


@settings(max_examples=15)
@given(st.integers(0, 2**31 - 1))
def test_a_crumpled_grid_crosses_where_cgal_says(seed: int) -> None:
    polygons, points = bumpy(seed)
    ours = SelfCrossing(polygons).crossing_faces(points)
    np.testing.assert_array_equal(np.flatnonzero(ours), cgal_faces(polygons, points))


def test_a_real_neutral_crosses_where_cgal_says() -> None:
    polygons, points = real_neutral()
    first = np.logical_and.reduceat(polygons.indices < 9409, polygons.starts[:-1])  # the skin of the face
    skin = Polygons(polygons.counts[first], polygons.indices[first[polygons.corner_face]], 9409)
    ours = SelfCrossing(skin).crossing_faces(points[:9409])
    np.testing.assert_array_equal(np.flatnonzero(ours), cgal_faces(skin, np.ascontiguousarray(points[:9409])))
    assert ours.sum() == 58  # as the library's own description counts them


@settings(max_examples=10)
@given(st.integers(0, 2**31 - 1), st.floats(0.1, 1.0))
def test_no_two_triangles_of_a_flat_fan_cross(seed: int, height: float) -> None:
    polygons, points = bumpy(seed, height)
    part = part_of(polygons, np.flatnonzero((np.arange(64) % 8 < 4) & (np.arange(64) < 32)))
    whole = np.rint(points[:16] * 1e6)  # whole numbers, so that exact arithmetic takes them as they are
    triangles = np.asarray(part.triangles)
    flat = FlatFans(triangles, 16).flat(whole, np.arange(16))
    shared = [set(triangles[i].tolist()) & set(triangles[j].tolist()) for i, j in exact_pairs(whole, triangles)]
    assert not any(flat[list(each)].any() for each in shared if each)


def test_a_shaken_grid_has_flat_fans_and_others() -> None:
    polygons, points = bumpy(3, 0.25)
    flat = FlatFans(polygons.triangles, 64).flat(points, np.arange(64))
    assert 10 < flat.sum() < 64
    two = np.array([[0, 1, 2], [0, 3, 4]])  # two sheets at one vertex are no fan
    assert not FlatFans(two, 5).flat(np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]]), [0]).any()
