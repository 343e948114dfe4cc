"""Loops of edges: they go straight on, whichever edge or end they are begun from, and end where that has no meaning."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.geometry.edge_loop import edge_loop, nearest_edge
from composer.geometry.half_edges import HalfEdges
from composer.geometry.polygons import Polygons
from tests.small_heads import CUBE, fan, grid, torus


def corner_of(mesh: HalfEdges, a: int, b: int) -> int:
    return next(int(c) for c in mesh.corners_at(a) if mesh.vertex[mesh.following[c]] == b)


def as_set(line: np.ndarray) -> set[frozenset[int]]:
    return {frozenset(pair) for pair in zip(line.tolist(), line[1:].tolist(), strict=False)}


@given(st.integers(3, 6), st.integers(3, 6), st.data())
def test_on_a_grid_a_loop_is_a_row_or_a_column(rows: int, columns: int, data: st.DataObject) -> None:
    mesh = HalfEdges(grid(rows, columns))
    corner = data.draw(st.integers(0, len(mesh.vertex) - 1))
    a, b = int(mesh.vertex[corner]), int(mesh.vertex[mesh.following[corner]])
    line, closed = edge_loop(mesh, corner)
    row = a // columns == b // columns
    at_border = (row and a // columns in (0, rows - 1)) or (not row and a % columns in (0, columns - 1))
    if at_border:
        assert closed and len(line) == 2 * (rows + columns) - 4
        return
    first = a // columns * columns if row else a % columns
    full = range(first, first + columns) if row else range(first, rows * columns, columns)
    assert not closed and line.tolist() in (list(full), list(full)[::-1])


@given(st.integers(3, 6), st.integers(3, 6), st.data())
def test_on_a_torus_every_loop_is_closed_and_the_same_from_each_of_its_edges(
    rows: int, columns: int, data: st.DataObject
) -> None:
    mesh = HalfEdges(torus(rows, columns))
    line, closed = edge_loop(mesh, data.draw(st.integers(0, len(mesh.vertex) - 1)))
    assert closed and len(line) in (rows, columns) and len(set(line.tolist())) == len(line)
    other, _ = edge_loop(mesh, corner_of(mesh, int(line[-1]), int(line[0])))
    assert set(other.tolist()) == set(line.tolist())


@given(st.integers(3, 8))
def test_a_loop_ends_where_other_than_four_edges_meet(valence: int) -> None:
    polygons = fan(valence)
    mesh = HalfEdges(polygons)
    line, closed = edge_loop(mesh, corner_of(mesh, 0, 1))
    assert not closed
    assert line.tolist() == ([3, 0, 1] if valence == 4 else [0, 1])
    again, _ = edge_loop(mesh, int(mesh.twin[corner_of(mesh, 0, 1)]))
    assert as_set(again) == as_set(line)


def test_on_a_cube_every_loop_is_one_edge() -> None:
    mesh = HalfEdges(CUBE)
    for corner in range(len(mesh.vertex)):
        assert len(edge_loop(mesh, corner)[0]) == 2


def test_the_nearest_edge_is_the_one_with_most_weight() -> None:
    polygons = Polygons.from_faces([[4, 7, 9, 2]], 10)
    mesh = HalfEdges(polygons)
    corner = nearest_edge(mesh, polygons.face(0), np.array([0.1, 0.4, 0.4, 0.1]))
    assert (mesh.vertex[corner], mesh.vertex[mesh.following[corner]]) == (7, 9)
    corner = nearest_edge(mesh, polygons.face(0), np.array([0.5, 0.0, 0.1, 0.4]))
    assert (mesh.vertex[corner], mesh.vertex[mesh.following[corner]]) == (2, 4)
