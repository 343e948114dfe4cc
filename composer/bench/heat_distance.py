"""Heat distance on 100,000 vertices: factoring, and one more source, beside potpourri3d where it is installed."""

from __future__ import annotations

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, measure
from composer.geometry.geodesic import HeatDistance
from composer.geometry.surface import Surface


def rows() -> list[Row]:
    """At most 1.3 times potpourri3d; without it, beside a copy of the positions and without a goal."""
    polygons, positions = cube_sphere(129, seed=2)
    source = np.array([0])

    def factor() -> HeatDistance:
        fresh = HeatDistance(Surface(polygons, positions))
        fresh.solve(source)
        return fresh

    distance = factor()
    try:
        import potpourri3d as pp3d
    except ImportError:
        note = "potpourri3d is not installed, so there is no peer to compare with"
        copy = positions.copy
        return [
            measure("heat: with its factor", factor, "one copy of the positions", copy, repeats=3, note=note),
            measure(
                "heat: one more",
                lambda: distance.solve(source),
                "one copy of the positions",
                copy,
                note=note,
            ),
        ]
    triangles = np.asarray(polygons.triangles)
    peer = pp3d.MeshHeatMethodDistanceSolver(positions, triangles)
    name = f"heat, {len(positions):,} vertices"
    return [
        measure(
            f"{name}: with its factor", factor, "potpourri3d",
            lambda: pp3d.MeshHeatMethodDistanceSolver(positions, triangles).compute_distance(0), repeats=3, warm=1,
            most_ratio=1.3,
        ),
        measure(
            f"{name}: one more", lambda: distance.solve(source), "potpourri3d",
            lambda: peer.compute_distance(0), repeats=10, most_ratio=1.3,
        ),
    ]  # fmt: skip
