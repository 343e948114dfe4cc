"""Values continued over gaps: by the polygons about them alone, and gap by gap."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.fitting.fill import fill, fill_more
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface

SIDE = 14


def sheet(seed: int) -> tuple[Surface, np.ndarray]:
    """A shaken grid, and values at its vertices."""
    random = np.random.default_rng(seed)
    i = np.arange(SIDE**2).reshape(SIDE, SIDE)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    x, y = np.meshgrid(np.arange(float(SIDE)), np.arange(float(SIDE)), indexing="ij")
    points = np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3) + random.normal(0.0, 0.15, (SIDE**2, 3))
    return Surface(Polygons(np.full(len(quads), 4), quads.ravel(), SIDE**2), points), random.normal(size=(SIDE**2, 2))


def gaps(seed: int, count: int) -> np.ndarray:
    """Flags of vertices in square gaps."""
    random = np.random.default_rng(seed)
    flags = np.zeros((SIDE, SIDE), dtype=bool)
    for _ in range(count):
        row, column, size = random.integers(0, SIDE, 2).tolist() + [int(random.integers(1, 4))]
        flags[row : row + size, column : column + size] = True
    return flags.ravel()


@settings(max_examples=25)
@given(st.integers(0, 2**31 - 1), st.integers(1, 4), st.floats(0.5, 20.0))
def test_the_filling_makes_the_energy_of_the_whole_sheet_stationary(seed: int, count: int, width: float) -> None:
    surface, values = sheet(seed)
    missing = gaps(seed, count)
    out = fill(surface, values, missing, width)
    assert np.array_equal(out[~missing], values[~missing])
    laplacian, inverse = surface.laplacian, sp.diags(1.0 / surface.mass)
    slope = laplacian.T @ (inverse @ (laplacian @ out)) + laplacian @ out / width**2
    assert np.abs(slope[missing]).max(initial=0.0) < 1e-6 * np.abs(slope).max()


@settings(max_examples=25)
@given(st.integers(0, 2**31 - 1), st.integers(1, 4), st.integers(0, 3))
def test_further_gaps_are_filled_as_all_at_once(seed: int, count: int, further: int) -> None:
    surface, values = sheet(seed)
    before = gaps(seed, count)
    missing = before | gaps(seed + 1, further)
    first = fill(surface, values, before, 3.0)
    more = fill_more(surface, values, missing, 3.0, first, before)
    assert np.allclose(more, fill(surface, values, missing, 3.0), atol=1e-8)
