"""Copies split along seams whose polygons stand in the old order: every vertex is told by its corners."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from composer.formats.mend import likeness
from composer.formats.mesh import Mesh
from composer.geometry.polygons import Polygons
from tests.small_heads import grid


def split_copy(mesh: Mesh, rng: np.random.Generator, share: float) -> tuple[Mesh, np.ndarray]:
    """The mesh with some corners given vertices of their own, all vertices renumbered; and (m,) whose each one is."""
    corners = mesh.polygons.indices.astype(np.int64)
    own = rng.random(len(corners)) < share
    keys = np.where(own, mesh.n_vertices + np.arange(len(corners)), corners)
    used, label = np.unique(keys, return_inverse=True)
    order = rng.permutation(len(used))
    source = np.empty(len(used), dtype=np.int64)
    source[order[label]] = corners
    return Mesh(Polygons(mesh.polygons.counts, order[label], len(used)), mesh.positions[source]), source


@given(st.integers(0, 2**31 - 1), st.floats(0.01, 1.0))
def test_a_split_copy_is_welded_by_corner_whatever_lies_at_the_same_place(seed, share):
    """Some vertices of the reference lie on each other, as lips that touch: place says nothing of those."""
    rng = np.random.default_rng(seed)
    polygons = grid(5, 6)
    points = rng.normal(size=(polygons.n_vertices, 3))
    points[rng.integers(0, len(points), 8)] = points[0]
    reference = Mesh(polygons, points)
    mesh, source = split_copy(reference, rng, share)
    if mesh.n_vertices == reference.n_vertices:
        return
    found = likeness(reference, mesh)
    np.testing.assert_array_equal(source[found.vertices], np.arange(reference.n_vertices))
    assert found.decided == "corners" and "welded at seams" in found.did[0]
    back = likeness(mesh, reference)  # and a library that is split itself, with a file that is not
    np.testing.assert_array_equal(back.vertices, source)


def test_a_seam_that_was_pulled_open_is_not_welded_by_corner():
    rng = np.random.default_rng(3)
    polygons = grid(5, 6)
    reference = Mesh(polygons, rng.normal(size=(polygons.n_vertices, 3)))
    mesh, source = split_copy(reference, rng, 0.2)
    twice = np.flatnonzero(np.bincount(source)[source] > 1)
    open_seam = Mesh(mesh.polygons, mesh.positions + np.isin(np.arange(mesh.n_vertices), twice[:1])[:, None] * 0.1)
    try:
        assert likeness(reference, open_seam).decided != "corners"
    except Exception as error:  # told, not welded
        assert "vert" in str(error) or "polygon" in str(error)
