"""The tables of polygons, on three faces that can be read off a drawing."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons

#  0 - 1 - 2        a quad, a triangle beside it, and a triangle apart; vertex 9 is loose
#  |   | /
#  3 - 4      5 6 7
FACES = [[0, 3, 4, 1], [1, 4, 2], [5, 6, 7]]


def mesh() -> Polygons:
    return Polygons.from_faces(FACES, 9)


def test_edges_valences_and_borders() -> None:
    polygons = mesh()
    edges = {tuple(edge): int(use) for edge, use in zip(polygons.edges.tolist(), polygons.edge_use, strict=True)}
    once = {(0, 3), (3, 4), (0, 1), (2, 4), (1, 2), (5, 6), (6, 7), (5, 7)}
    assert edges == {**dict.fromkeys(once, 1), (1, 4): 2}
    assert polygons.valence.tolist() == [2, 3, 2, 2, 3, 2, 2, 2, 0]
    assert np.flatnonzero(polygons.border_vertices).tolist() == list(range(8))
    for corner, edge in enumerate(polygons.corner_edge):
        face = polygons.corner_face[corner]
        at = corner - polygons.starts[face]
        loop = FACES[face]
        assert polygons.edges[edge].tolist() == sorted([loop[at], loop[(at + 1) % len(loop)]])


def test_neighbours_are_told_once_from_either_side() -> None:
    table = mesh().adjacency.toarray()
    np.testing.assert_array_equal(table, table.T)
    assert set(np.unique(table)) == {0.0, 1.0}
    assert np.flatnonzero(table[4]).tolist() == [1, 2, 3]
    assert not table[8].any()


def test_pieces_are_numbered_by_their_lowest_vertex() -> None:
    assert mesh().components.tolist() == [0, 0, 0, 0, 0, 1, 1, 1, 2]


def test_triangles_keep_their_polygon() -> None:
    polygons = mesh()
    assert np.bincount(polygons.triangle_face).tolist() == [2, 1, 1]
    for triangle, face in zip(polygons.triangles.tolist(), polygons.triangle_face, strict=True):
        assert set(triangle) <= set(FACES[face])


@pytest.mark.parametrize("bad", [9, 12, -1])
def test_a_vertex_that_is_not_there_is_named_with_its_polygon(bad: int) -> None:
    with pytest.raises(MoueError, match=f"polygon 1 uses vertex {bad} of a mesh of 9 vertices"):
        Polygons.from_faces([[0, 3, 4, 1], [1, 4, bad], [5, 6, 7]], 9)


def test_counts_must_fit() -> None:
    with pytest.raises(MoueError, match="do not add up"):
        Polygons(np.array([3, 3]), np.arange(5), 9)
    with pytest.raises(MoueError, match="polygon 1 has fewer"):
        Polygons(np.array([3, 2]), np.arange(5), 9)


def test_a_part_of_known_edges_has_those_that_sorting_finds() -> None:
    """The edges of a part are read off the whole's; sorted anew from the same polygons they are the same."""
    rng = np.random.default_rng(5)
    i = np.arange(56).reshape(7, 8)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    whole = Polygons(np.full(len(quads), 4), rng.permutation(56)[quads].ravel(), 56)
    assert len(whole.edges) and whole.knows_edges
    for count in (0, 20, 45, 56):
        part = part_of(whole, np.sort(rng.choice(56, count, replace=False)))
        anew = Polygons(part.counts, part.indices, part.n_vertices)
        assert part.knows_edges and not anew.knows_edges
        np.testing.assert_array_equal(part.edges, anew.edges)
        np.testing.assert_array_equal(part.corner_edge, anew.corner_edge)
