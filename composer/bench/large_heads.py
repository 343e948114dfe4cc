"""Large heads for the bench: a closed surface of quads, subdivided, whose shapes each move a place of its face."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.formats import npz
from composer.formats.mesh import mesh_of
from composer.head.aside import aside
from composer.head.head import Head, Shape
from composer.head.levels import levels, refine

SHAPES, SEED = 20, 5
SIZES = {
    10_000: (41, 0), 25_000: (65, 0), 40_000: (41, 1), 160_000: (41, 2), 640_000: (41, 3), 2_600_000: (41, 4),
}
"""By the round number of vertices, the side of a cube-sphere and how often it is subdivided."""
REACH_DEGREES, FURTHEST_MM = 25.0, 8.0


def large_head(size: int, count: int = SHAPES) -> Head:
    """A head of about `size` vertices, one of `SIZES`, with `count` shapes; the face looks to z, the same size the same
    head."""
    side, steps = SIZES[size]
    polygons, neutral = cube_sphere(side, seed=SEED)
    ball = neutral / np.linalg.norm(neutral, axis=1, keepdims=True)
    rng = np.random.default_rng(SEED)
    factors = levels(polygons, steps)
    shapes = []
    for number in range(count):
        tilt, around = np.radians(70.0) * np.sqrt((number + 0.5) / count), 2.4 * number
        middle = np.array([np.sin(tilt) * np.cos(around), np.sin(tilt) * np.sin(around), np.cos(tilt)])
        away = np.degrees(np.arccos(np.clip(ball @ middle, -1.0, 1.0))) / REACH_DEGREES
        amount = np.where(away < 1.0, (1.0 - np.minimum(away, 1.0) ** 2) ** 2, 0.0)
        way = rng.normal(size=3)
        delta = (FURTHEST_MM * amount[:, None] * way / np.linalg.norm(way)).astype(np.float32)
        shapes.append(Shape(f"shape_{number:02d}", aside(refine(delta, factors))))
    fine = factors[-1].polygons if factors else polygons
    return Head("large", fine, refine(neutral, factors), tuple(shapes))


def write_large_head(path: Path, size: int, count: int = SHAPES) -> int:
    """Write that head as one NPZ file; the number of its vertices."""
    head = large_head(size, count)
    npz.write(path, mesh_of(head, shapes=True))
    return head.n_vertices
