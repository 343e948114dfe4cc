"""The demo heads and their sculpts, and ways to look at their skin alone."""

from __future__ import annotations

import numpy as np

from composer.demo.neutral import DemoNeutral
from composer.geometry.polygons import Polygons
from tests.demo_heads import NAMES, neutral, sculpt

__all__ = ["NAMES", "neutral", "sculpt", "skin", "skin_polygons"]


def skin(base: DemoNeutral) -> tuple[np.ndarray, np.ndarray]:
    """Positions (n, 3) and quads (m, 4) of the skin."""
    quads = base.polygons.indices.reshape(-1, 4)
    return base.positions[: base.n_skin], quads[(quads < base.n_skin).all(1)]


def skin_polygons(base: DemoNeutral) -> Polygons:
    points, quads = skin(base)
    return Polygons(np.full(len(quads), 4), quads.ravel(), len(points))
