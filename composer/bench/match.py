"""Weights matched to a target, cold and warm, beside scipy's bounded least squares.

The columns and their Gram matrix belong to the head and its masks and are built once: their time has its own row,
beside one copy of the bytes of the columns. scipy's lsq_linear gets the same problem in its smallest form: with
A'A = L L', |A x - b|^2 and |L'x - L^-1 A'b|^2 differ by a constant, and L' has a row for each cell instead of three for
each vertex.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from composer.bench.measure import Row, measure
from composer.bench.mixing_scene import mixing_scene
from composer.mixing.match import Bounds, Columns

SEED = 5
STIR_MM, DRIFT = 0.3, 0.01
"""The noise of a scan, mm (standard deviation), and the largest relative change of a weight between two targets."""


def rows() -> list[Row]:
    """At most 250 ms cold and 15 ms warm for 60 shapes x 12 regions."""
    from scipy.linalg import cholesky, solve_triangular
    from scipy.optimize import lsq_linear

    mixer, recipe = mixing_scene()
    regions, shapes, bounds = list(mixer.masks), mixer.head.shape_names, Bounds()
    rng = np.random.default_rng(SEED)
    planted = mixer.displacement(recipe)
    stirred = planted + STIR_MM * rng.normal(size=planted.shape)
    cells = tuple(replace(cell, weight=cell.weight * (1.0 - DRIFT * rng.random())) for cell in recipe.cells)
    drifted = mixer.displacement(recipe.with_(cells=cells))

    columns = Columns(mixer, regions, shapes)
    _ = columns.gram
    matched = columns.weights(columns.onto(planted), bounds)
    wanted = np.zeros(len(columns.keys))
    wanted[[columns.index[cell.key] for cell in recipe.cells]] = [cell.weight for cell in recipe.cells]
    off = float(np.abs(matched - wanted).max())

    lower = cholesky(columns.gram, lower=True)

    def scipy_match() -> object:
        b = solve_triangular(lower, columns.onto(stirred), lower=True)
        return lsq_linear(lower.T, b, (bounds.low, bounds.high)).x

    passing = np.zeros(columns.nbytes // 8)
    copied = "one copy of the bytes of the columns"
    size = f"{mixer.head.n_vertices:,} vertices, {len(shapes)} shapes x {len(regions)} regions"
    return [
        measure(
            "match, preparing", lambda: Columns(mixer, regions, shapes).gram,
            copied, passing.copy, repeats=5, warm=1,
            note=f"{size}; once a head; {columns.nbytes / 2**20:.0f} MiB",
        ),
        measure(
            "match, cold", lambda: columns.weights(columns.onto(stirred), bounds),
            "scipy lsq_linear on the Gram matrix's factor", scipy_match, repeats=5, warm=1, most_ms=250.0,
            note=f"{size}; planted weights are matched within {off:.1g}",
        ),
        measure(
            "match, warm", lambda: columns.weights(columns.onto(drifted), bounds, matched),
            copied, passing.copy, repeats=30, most_ms=15.0,
            note=f"40 cells, each weight changed by {100 * DRIFT:.0f} percent at most",
        ),
    ]  # fmt: skip
