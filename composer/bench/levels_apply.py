"""Level 4 of a 10,000 vertex cage, 2.6 million vertices: positions subdivided, beside a copy of the result."""

from __future__ import annotations

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, measure
from composer.head.levels import levels, refine


def rows() -> list[Row]:
    """Positions in float32 through the four factors: at most 70 ms."""
    polygons, positions = cube_sphere(41)
    steps = levels(polygons, 4)
    low = positions.astype(np.float32)
    written = np.empty_like(refine(low, steps))
    source = written.copy()
    return [
        measure(
            f"level 4 of {polygons.n_vertices:,} vertices: apply",
            lambda: refine(low, steps),
            "one copy of the level's positions",
            lambda: np.copyto(written, source),
            repeats=10,
            most_ms=70.0,
            note=f"Catmull-Clark, to {len(written):,} vertices",
        )
    ]
