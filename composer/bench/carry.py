"""A library carried by gradients: its factor and each shape, beside a bare factorisation and back-substitution."""

from __future__ import annotations

from itertools import cycle

import numpy as np
import scipy.sparse as sp

from composer.bench.measure import Row, measure
from composer.bench.mixing_scene import mixing_scene
from composer.fitting.carry_gradient import GradientTransfer
from composer.geometry.surface import Surface, factorise


def rows() -> list[Row]:
    """60 shapes of 25,000 vertices: factored in at most 100 ms, carried in at most 14 ms each with turned normals."""
    mixer, _ = mixing_scene()
    head = mixer.head
    source = head.surface
    target = Surface(head.polygons, head.neutral * [1.1, 0.9, 1.05])
    hold = target.mass / target.diagonal_mm**2
    transfer = GradientTransfer(source, target, 1.0, hold)
    deltas = cycle([shape.delta.astype(np.float64) for shape in head.shapes])
    system = target.laplacian + sp.diags(hold, format="csc")
    factor = factorise(system)
    right = np.asfortranarray(next(deltas))

    def carry_one() -> None:
        delta = next(deltas)
        transfer(delta, delta)

    return [
        measure("carry, its factor", lambda: factorise(system), "heat's factor of the same surface",
                lambda: target.factor(target.mean_edge_mm**2), repeats=5, warm=1, most_ms=100.0, most_ratio=1.5),
        measure("carry, one shape", carry_one, "back-substitution alone",
                lambda: factor.solve(right), most_ms=14.0, most_ratio=2.5),
    ]  # fmt: skip
