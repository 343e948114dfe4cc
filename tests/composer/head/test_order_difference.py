"""How two topologies differ: each named fault is planted and must be recognised, and nothing else."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.polygons import Polygons
from composer.head.order_difference import order_difference
from tests.small_heads import grid, polygon_meshes, torus

SEEDS = st.integers(0, 2**32 - 1)


def faces_of(mesh: Polygons) -> list[list[int]]:
    return [mesh.face(i).tolist() for i in range(mesh.n_faces)]


def kind(a: Polygons, b: Polygons, pa: np.ndarray | None = None, pb: np.ndarray | None = None) -> str | None:
    found = order_difference(a, b, pa, pb)
    return found.kind if found else None


@settings(deadline=None)
@given(mesh=polygon_meshes(), seed=SEEDS)
def test_the_same_mesh_does_not_differ_and_an_expression_is_no_fault(mesh: Polygons, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(mesh.n_vertices, 3))
    assert kind(mesh, Polygons.from_faces(faces_of(mesh), mesh.n_vertices), points, points * 1.3) is None


@settings(deadline=None)
@given(seed=SEEDS, rows=st.integers(4, 8), closed=st.booleans())
def test_shuffled_vertices_are_recognised_without_positions(seed: int, rows: int, closed: bool) -> None:
    mesh = torus(rows, 5) if closed else grid(rows, 5)
    rng = np.random.default_rng(seed)
    order = rng.permutation(mesh.n_vertices)
    faces = [[int(order[v]) for v in face] for face in faces_of(mesh)]
    other = Polygons.from_faces([faces[i] for i in rng.permutation(len(faces))], mesh.n_vertices)
    same_sets = {frozenset(f) for f in faces} == {frozenset(f) for f in faces_of(mesh)}
    assert kind(mesh, other) in ({"polygon order", "corner order", "turned over", None} if same_sets else {"shuffled"})


@settings(deadline=None)
@given(mesh=polygon_meshes(), seed=SEEDS)
def test_polygons_in_another_order_and_turned_over_are_recognised(mesh: Polygons, seed: int) -> None:
    faces = faces_of(mesh)
    over = Polygons.from_faces([face[::-1] for face in faces], mesh.n_vertices)
    assert kind(mesh, over) == "turned over"
    order = np.random.default_rng(seed).permutation(len(faces))
    if [len(faces[i]) for i in order] != [len(f) for f in faces] or (order != np.arange(len(order))).any():
        assert kind(mesh, Polygons.from_faces([faces[i] for i in order], mesh.n_vertices)) == "polygon order"


@settings(deadline=None)
@given(seed=SEEDS)
def test_triangles_cut_along_either_diagonal_are_recognised(seed: int) -> None:
    mesh = grid(6, 5)
    rng = np.random.default_rng(seed)
    cut = []
    for a, b, c, d in faces_of(mesh):
        cut += [[a, b, c], [a, c, d]] if rng.random() < 0.5 else [[b, c, d], [b, d, a]]
    assert kind(mesh, Polygons.from_faces(cut, 30)) == "triangulated"
    assert kind(Polygons.from_faces(cut, 30), mesh) == "triangulated"


@settings(deadline=None)
@given(seed=SEEDS, shuffled=st.booleans(), cut=st.booleans())
def test_vertices_doubled_along_a_seam_are_recognised_in_any_order(seed: int, shuffled: bool, cut: bool) -> None:
    mesh = torus(6, 5)
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(30, 3))
    doubled = rng.choice(30, size=int(rng.integers(1, 6)), replace=False)
    faces = faces_of(mesh)
    copy = {int(v): 30 + i for i, v in enumerate(doubled)}
    for v, new in copy.items():
        which = [face for face in faces if v in face][:2]
        for face in which:
            face[face.index(v)] = new
    where = np.vstack([points, points[doubled]])
    if cut:
        faces = [t for a, b, c, d in faces for t in ([a, b, c], [a, c, d])]
    if shuffled:
        order = rng.permutation(len(where))
        faces = [[int(order[v]) for v in face] for face in faces]
        where = where[np.argsort(order)]
    other = Polygons.from_faces(faces, len(where))
    assert kind(mesh, other, points, where) == "seam-split"
    found = order_difference(mesh, other, points, where)
    assert found is not None and f"{len(doubled)} vertices more" in found.words


@settings(deadline=None)
@given(seed=SEEDS)
def test_the_same_polygons_over_scrambled_vertices_are_recognised(seed: int) -> None:
    mesh = grid(20, 20)
    y, x = np.mgrid[0:20, 0:20].astype(float)
    points = np.stack([x, y, np.cos(x / 6)], axis=-1).reshape(-1, 3)
    rng = np.random.default_rng(seed)
    assert kind(mesh, mesh, points, points[rng.permutation(400)]) == "scrambled"
    part = np.arange(400)
    part[:200] = rng.permutation(200)
    assert kind(mesh, mesh, points, points[part]) == "scrambled"
    bump = 6 * np.exp(-((x - 10) ** 2 + (y - 10) ** 2) / 8).reshape(-1, 1) * [0, 0, 1]
    assert kind(mesh, mesh, points, points + bump) is None


def test_what_is_another_mesh_is_called_so() -> None:
    assert kind(grid(4, 4), grid(4, 5)) == "count"
    assert kind(grid(4, 4), Polygons.from_faces(faces_of(grid(4, 4))[:-1], 16)) == "polygons"
    swapped = faces_of(grid(4, 4))
    swapped[4] = [5, 6, 10, 15]
    found = order_difference(grid(4, 4), Polygons.from_faces(swapped, 16))
    assert found is not None and found.kind == "polygons" and "from polygon 4 on" in found.words
