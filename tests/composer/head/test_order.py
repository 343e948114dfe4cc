"""Order by connectivity: permutations found, faults named at their place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import TextureCoordinates
from composer.head.levels import levels, refine
from composer.head.order import OrderMatch, OrderMismatch, match_order
from tests.small_heads import CUBE, CUBE_CORNERS, grid, polygon_meshes, random_rotation, torus

SEEDS = st.integers(0, 2**32 - 1)


def faces_of(mesh: Polygons) -> list[list[int]]:
    return [mesh.face(i).tolist() for i in range(mesh.n_faces)]


def shuffled(mesh: Polygons, rng: np.random.Generator) -> tuple[Polygons, np.ndarray, np.ndarray]:
    """The mesh with vertices, polygons and first corners in another order; where each vertex and polygon went."""
    order, faces = rng.permutation(mesh.n_vertices), rng.permutation(mesh.n_faces)
    listed = faces_of(mesh)
    out = []
    for face in faces:
        loop = [int(order[v]) for v in listed[face]]
        turn = int(rng.integers(len(loop)))
        out.append(loop[turn:] + loop[:turn])
    place = np.empty(mesh.n_faces, dtype=np.int64)
    place[faces] = np.arange(mesh.n_faces)
    return Polygons.from_faces(out, mesh.n_vertices), order, place


def moved(points: np.ndarray, order: np.ndarray) -> np.ndarray:
    out = np.empty_like(points)
    out[order] = points
    return out


def head_like(rng: np.random.Generator) -> tuple[Polygons, np.ndarray]:
    """A subdivided box with one side cut open, quite uneven, and two tori alike beside it, all quads but three."""
    open_box = Polygons.from_faces([*faces_of(CUBE)[:5]], 8)
    steps = levels(open_box, 2)
    skin = faces_of(steps[-1].polygons)
    a, b, c, d = skin.pop(7)
    skin += [[a, b, c], [a, c, d]]
    ring = torus(5, 4)
    points = [refine(CUBE_CORNERS * [3, 4, 3], steps) + 0.05 * rng.normal(size=(steps[-1].n_vertices, 3))]
    n = steps[-1].n_vertices
    angle = np.arange(5)[:, None] * 2 * np.pi / 5, np.arange(4)[None] * 2 * np.pi / 4
    away = 2 + 0.5 * np.cos(angle[1])
    balls = np.stack(np.broadcast_arrays(away * np.cos(angle[0]), away * np.sin(angle[0]), 0.5 * np.sin(angle[1])), -1)
    for side in (-2.0, 2.0):
        skin += [[v + n for v in face] for face in faces_of(ring)]
        points.append(0.3 * balls.reshape(-1, 3) + [side, 0, 3])
        n += 20
    return Polygons.from_faces(skin, n), np.vstack(points)


def is_match(found: OrderMatch, a: Polygons, b: Polygons) -> bool:
    """Whether every polygon of `a`, renumbered, is the polygon of `b` that it says, from some corner on."""
    for face in range(a.n_faces):
        loop = found.vertices[a.face(face)].tolist()
        other = b.face(int(found.polygons[face])).tolist()
        if loop not in [other[i:] + other[:i] for i in range(len(other))]:
            return False
    same_corners = np.array_equal(b.indices[found.corners], found.vertices[a.indices])
    return same_corners and len(set(found.vertices.tolist())) == a.n_vertices


@settings(deadline=None, max_examples=30)
@given(mesh=polygon_meshes(), seed=SEEDS)
def test_a_renumbered_mesh_is_matched_by_its_places(mesh: Polygons, seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(mesh.n_vertices, 3))
    other, order, faces = shuffled(mesh, rng)
    found = match_order(mesh, other, points, moved(points, order))
    assert np.array_equal(found.vertices, order) and np.array_equal(found.polygons, faces)
    assert is_match(found, mesh, other)


@settings(deadline=None, max_examples=12)
@given(seed=SEEDS)
def test_a_head_in_another_pose_unit_and_expression_is_matched(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh, points = head_like(rng)
    other, order, _ = shuffled(mesh, rng)
    there = 0.1 * (points + 0.03 * rng.normal(size=points.shape)) @ random_rotation(rng).T + rng.normal(size=3) * 50
    found = match_order(mesh, other, points, moved(there, order))
    assert np.array_equal(found.vertices, order)
    assert found.decided == "geometry"  # the two tori


@settings(deadline=None, max_examples=12)
@given(mesh=polygon_meshes(), seed=SEEDS)
def test_connectivity_alone_gives_the_one_match_or_says_that_there_are_several(mesh: Polygons, seed: int) -> None:
    other, _, _ = shuffled(mesh, np.random.default_rng(seed))
    try:
        found = match_order(mesh, other)
    except MoueError as error:
        assert not isinstance(error, OrderMismatch) and "ways" in str(error)
        return
    assert found.decided == "connectivity" and is_match(found, mesh, other)


def test_a_landmark_decides_where_places_do_not() -> None:
    other, order, _ = shuffled(CUBE, np.random.default_rng(2))
    with pytest.raises(MoueError, match="fits in 24 ways, and nothing decides between them"):
        match_order(CUBE, other)
    marks = np.array([[0, order[0]], [1, order[1]]])
    found = match_order(CUBE, other, landmarks=marks)
    assert np.array_equal(found.vertices, order) and found.decided == "landmark"


def test_texture_coordinates_decide_where_places_do_not() -> None:
    rng = np.random.default_rng(3)
    mesh = torus(5, 5)
    other, order, faces = shuffled(mesh, rng)
    uv = TextureCoordinates(rng.random((100, 2)), np.arange(100, dtype=np.int32))
    corner = np.empty(100, dtype=np.int32)
    for face in range(25):
        there = int(faces[face])
        for i, v in enumerate(mesh.face(face)):
            corner[4 * there + other.face(there).tolist().index(order[v])] = 4 * face + i
    found = match_order(mesh, other, uv=uv, other_uv=TextureCoordinates(uv.uv, corner))
    assert np.array_equal(found.vertices, order) and found.decided == "uv"


@settings(deadline=None, max_examples=12)
@given(seed=SEEDS)
def test_a_symmetric_head_keeps_left_and_right_and_an_inside_out_copy_is_recognised(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = grid(6, 7)
    x, y = np.meshgrid(np.arange(7) - 3.0, np.arange(6.0))
    points = np.stack([x, y, np.cos(x) - 0.1 * y**2], axis=-1).reshape(-1, 3)  # exactly even
    other, order, _ = shuffled(mesh, rng)
    found = match_order(mesh, other, points, moved(points, order))
    assert np.array_equal(found.vertices, order) and not found.turned
    over = Polygons.from_faces([face[::-1] for face in faces_of(other)], mesh.n_vertices)
    found = match_order(mesh, over, points, moved(points, order))
    assert np.array_equal(found.vertices, order) and found.turned
    assert np.array_equal(over.indices[found.corners], order[mesh.indices])


@settings(deadline=None, max_examples=12)
@given(seed=SEEDS)
def test_one_polygon_turned_over_is_named(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh, points = head_like(rng)
    other, order, faces = shuffled(mesh, rng)
    broken = int(rng.integers(90))
    assume(len(mesh.face(broken)) == 4)
    listed = faces_of(other)
    there = int(faces[broken])
    listed[there] = listed[there][::-1]
    with pytest.raises(OrderMismatch) as caught:
        match_order(mesh, Polygons.from_faces(listed, mesh.n_vertices), points, moved(points, order))
    place = caught.value.place
    assert place is not None and "a polygon turned over against it" in str(caught.value)
    shares = len(set(mesh.face(place.polygon)) & set(mesh.face(broken)))
    assert shares >= 2 and place.other_polygon == faces[place.polygon]


@settings(deadline=None, max_examples=12)
@given(seed=SEEDS)
def test_a_missing_vertex_is_counted_and_its_place_is_named(seed: int) -> None:
    """Collapse one vertex of a polygon into the next: one vertex fewer, a triangle where there was a quad."""
    rng = np.random.default_rng(seed)
    mesh, points = head_like(rng)
    other, order, faces = shuffled(mesh, rng)
    broken = int(rng.integers(70))
    there = int(faces[broken])
    gone, kept = other.face(there)[:2].tolist()
    listed = [list(dict.fromkeys(kept if v == gone else v for v in face)) for face in faces_of(other)]
    assume(min(len(face) for face in listed) >= 3)
    number = np.delete(np.arange(mesh.n_vertices), gone)
    new = np.full(mesh.n_vertices, -1)
    new[number] = np.arange(len(number))
    small = Polygons.from_faces([[int(new[v]) for v in face] for face in listed], mesh.n_vertices - 1)
    with pytest.raises(OrderMismatch) as caught:
        match_order(mesh, small, points, moved(points, order)[number])
    n = mesh.n_vertices
    assert f"has {n - 1} vertices, the reference {n}; polygon" in str(caught.value)
    assert caught.value.place is not None
    touched = {v for face in faces_of(other) if gone in face or kept in face for v in face}
    assert touched & {int(order[v]) for v in mesh.face(caught.value.place.polygon)}


def test_a_piece_too_many_and_another_mesh_are_refused() -> None:
    two = Polygons.from_faces([*faces_of(CUBE), *[[v + 8 for v in face] for face in faces_of(CUBE)]], 16)
    points = np.vstack([CUBE_CORNERS, CUBE_CORNERS + 5])
    with pytest.raises(OrderMismatch, match="has 8 vertices, the reference 16"):
        match_order(two, CUBE, points, CUBE_CORNERS)
    with pytest.raises(OrderMismatch, match="has 16 vertices, the reference 8"):
        match_order(CUBE, two, CUBE_CORNERS, points)
    with pytest.raises(OrderMismatch, match="polygon"):
        match_order(grid(3, 5), Polygons.from_faces([[0, 1, 2, 3]] * 0 + faces_of(torus(3, 5))[:8], 15))


@settings(deadline=None, max_examples=20)
@given(seed=SEEDS)
def test_two_pieces_that_touch_in_a_vertex_and_loose_vertices_come_along(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2], [3, 6, 7], [9, 10, 11]], 13)  # 8 and 12 are loose
    points = rng.normal(size=(13, 3))
    other, order, _ = shuffled(mesh, rng)
    found = match_order(mesh, other, points, moved(points, order))
    assert np.array_equal(found.vertices, order)


def test_no_polygons_at_all_are_matched_by_place() -> None:
    points = np.random.default_rng(0).normal(size=(5, 3))
    order = np.array([3, 1, 0, 4, 2])
    none = Polygons.from_faces([], 5)
    assert np.array_equal(match_order(none, none, points, moved(points, order)).vertices, order)
