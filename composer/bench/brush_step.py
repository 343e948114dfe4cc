"""One dab of a brush on 100,000 vertices, beside one copy of the mask; the goal is for the 99th percentile."""

from __future__ import annotations

from time import perf_counter

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, middle_half
from composer.geometry.surface import Surface
from masks.paint import Brush, Painter, Stroke

DABS, RADIUS_MM = 300, 15.0


def rows() -> list[Row]:
    """The 99th percentile of 300 dabs of one wandering stroke: at most 8 ms."""
    polygons, positions = cube_sphere(129, seed=2)
    painter = Painter(Surface(polygons, positions))
    painter.prepare()
    mask = np.zeros(len(positions))
    rng = np.random.default_rng(1)
    faces = rng.integers(0, polygons.n_faces, DABS)
    times, copy_times = [], []
    for face in faces:
        stroke = Stroke(painter, mask, Brush(RADIUS_MM, 1.0))
        begin = perf_counter()
        stroke.dab(polygons.face(int(face)), np.full(4, 0.25))
        middle = perf_counter()
        mask.copy()
        times.append(1e3 * (middle - begin))
        copy_times.append(1e3 * (perf_counter() - middle))
    p99, reference = float(np.percentile(times, 99)), float(np.median(copy_times))
    name = f"brush of {RADIUS_MM:g} mm, {len(positions):,} vertices, p99"
    note = f"median {np.median(times):.2f} ms"
    return [
        Row(
            name,
            p99,
            middle_half(times),
            "one copy of the mask",
            reference,
            p99 / reference,
            "<= 8 ms",
            p99 <= 8.0,
            note,
        )
    ]
