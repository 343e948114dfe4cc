"""The triangles at some vertices, beside looking at every triangle."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.surface import Surface
from composer.geometry.triangles_about import TrianglesAbout
from tests.small_heads import grid, torus


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 2**32 - 1), closed=st.booleans(), count=st.integers(0, 12))
def test_they_are_those_with_such_a_corner(seed: int, closed: bool, count: int) -> None:
    rng, mesh = np.random.default_rng(seed), torus(5, 6) if closed else grid(5, 7)
    surface = Surface(mesh, rng.normal(size=(mesh.n_vertices, 3)))
    chosen = rng.choice(mesh.n_vertices, size=count, replace=False)
    wanted = np.flatnonzero(np.isin(surface.triangles, chosen).any(axis=1))
    assert np.array_equal(surface.derived(TrianglesAbout).of(chosen), wanted)
