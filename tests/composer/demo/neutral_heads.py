"""The demo heads and their sculpts, each built once for all tests, and ways to look at their skin alone."""

from __future__ import annotations

from functools import cache

import numpy as np

from composer.demo.character import CHARACTERS
from composer.demo.neutral import DemoNeutral, build_neutral
from composer.demo.sculpt import Sculpt, build_sculpt
from composer.geometry.polygons import Polygons

NAMES = tuple(CHARACTERS)


@cache
def neutral(name: str) -> DemoNeutral:
    return build_neutral(CHARACTERS[name])


@cache
def sculpt(name: str) -> Sculpt:
    return build_sculpt(CHARACTERS[name], neutral(name))


def skin(base: DemoNeutral) -> tuple[np.ndarray, np.ndarray]:
    """Positions (n, 3) and quads (m, 4) of the skin."""
    quads = base.polygons.indices.reshape(-1, 4)
    return base.positions[: base.n_skin], quads[(quads < base.n_skin).all(1)]


def skin_polygons(base: DemoNeutral) -> Polygons:
    points, quads = skin(base)
    return Polygons(np.full(len(quads), 4), quads.ravel(), len(points))
