"""Twins of corners on a few faces: across an edge, at a border, turned over, and with a third polygon there."""

from __future__ import annotations

import pytest

from composer.geometry.half_edges import BORDER, CROWDED, TURNED, HalfEdges, turned_over
from composer.geometry.polygons import Polygons


def test_twins_run_along_the_same_edge_the_other_way() -> None:
    mesh = HalfEdges(Polygons.from_faces([[0, 1, 2], [2, 1, 3], [4, 5, 6]], 7))
    assert mesh.twin.tolist() == [BORDER, 3, BORDER, 1, BORDER, BORDER, BORDER, BORDER, BORDER]
    assert mesh.following.tolist() == [1, 2, 0, 4, 5, 3, 7, 8, 6]
    assert mesh.before.tolist() == [2, 0, 1, 5, 3, 4, 8, 6, 7]
    assert mesh.valence.tolist() == [2, 3, 3, 2, 2, 2, 2]
    assert mesh.pieces[0] == mesh.pieces[1] != mesh.pieces[2]


def test_a_polygon_turned_over_is_no_twin_and_no_piece_with_its_neighbour() -> None:
    mesh = HalfEdges(Polygons.from_faces([[0, 1, 2], [1, 2, 3]], 4))
    assert mesh.twin.tolist() == [BORDER, TURNED, BORDER, TURNED, BORDER, BORDER]
    assert mesh.pieces[0] != mesh.pieces[1]


@pytest.mark.parametrize("extra", [[0, 1, 5], [1, 0, 5]])
def test_an_edge_of_three_polygons_has_no_twins(extra: list[int]) -> None:
    mesh = HalfEdges(Polygons.from_faces([[0, 1, 2], [1, 0, 3], extra], 6))
    assert [int(mesh.twin[corner]) for corner in (0, 3, 6)] == [CROWDED] * 3
    assert all(mesh.twin[corner] == BORDER for corner in (1, 2, 4, 5, 7, 8))
    assert mesh.valence[0] == 4


def test_the_corners_at_a_vertex() -> None:
    mesh = HalfEdges(Polygons.from_faces([[0, 1, 2], [2, 1, 3]], 5))
    assert [mesh.corners_at(vertex).tolist() for vertex in range(5)] == [[0], [1, 4], [2, 3], [5], []]


def test_turned_over_and_back() -> None:
    polygons = Polygons.from_faces([[0, 1, 2], [2, 1, 3, 4]], 5)
    turned, same = turned_over(polygons)
    assert [turned.face(0).tolist(), turned.face(1).tolist()] == [[2, 1, 0], [4, 3, 1, 2]]
    assert (polygons.indices[same] == turned.indices).all() and same[same].tolist() == list(range(7))
