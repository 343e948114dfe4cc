"""Level 4 of a 10,000 vertex cage: its four factors built, beside one copy of them."""

from __future__ import annotations

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, measure
from composer.geometry.polygons import Polygons
from composer.head.levels import levels


def rows() -> list[Row]:
    """Connectivity and float32 factors of four levels: at most 1 s."""
    polygons, _ = cube_sphere(41)
    matrices = [step.matrix32 for step in levels(polygons, 4)]

    def build() -> None:
        cage = Polygons(polygons.counts, polygons.indices, polygons.n_vertices)
        for step in levels(cage, 4):
            _ = step.matrix32

    return [
        measure(
            f"level 4 of {polygons.n_vertices:,} vertices: build",
            build,
            "one copy of the factors",
            lambda: [(np.copy(m.data), np.copy(m.indices), np.copy(m.indptr)) for m in matrices],
            repeats=5,
            most_ms=1000.0,
        )
    ]
