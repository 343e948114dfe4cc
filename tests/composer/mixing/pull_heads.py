"""A sheet of skin with smooth shapes and two regions that share a border, for the laws of the pull."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head, InBetween, Shape
from composer.head.places import SurfacePoint
from composer.mixing.linear import Mixer
from masks.soften import smoothstep
from tests.small_heads import grid

SIDE, STEP_MM = 17, 6.0
AXES = np.eye(3)


def sheet_places() -> NDArray[np.float64]:
    """(289, 3) mm, a sheet of 96 x 96 mm that faces z."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    return STEP_MM * np.stack([x.ravel() - SIDE // 2, SIDE // 2 - y.ravel(), np.zeros(SIDE * SIDE)], axis=1)


def wave(places: NDArray, centre: NDArray, wide_mm: float, way: NDArray) -> NDArray[np.float32]:
    """A bump (n, 3): `way` (3,) mm at its centre, a Gaussian about it."""
    away = np.linalg.norm(places - centre, axis=1)
    return (np.exp(-((away / wide_mm) ** 2))[:, None] * way).astype(np.float32)


def random_sheet(seed: int, shapes: int = 5, between: bool = False) -> Mixer:
    """A mixer on the sheet: bumps about places near the middle, up to 12 mm high, and a left and a right region."""
    rng = np.random.default_rng(seed)
    places = sheet_places()
    made = []
    for i in range(shapes):
        centre = np.append(rng.uniform(-24.0, 24.0, 2), 0.0)
        way = rng.uniform(4.0, 12.0) * unit(np.append(rng.normal(size=2), 0.3 * rng.normal()))
        delta = wave(places, centre, rng.uniform(18.0, 45.0), way)
        half = (InBetween(0.5, np.float32(0.35) * delta),) if between and i == 0 else ()
        made.append(Shape(f"shape_{i}", delta, half))
    head = Head("sheet", grid(SIDE, SIDE), places, tuple(made))
    left = smoothstep(0.5 + places[:, 0] / 12.0)
    return Mixer(head, {"left": left, "right": 1.0 - left, "remainder": np.zeros(len(places))})


def unit(way: NDArray) -> NDArray[np.float64]:
    return np.asarray(way / np.linalg.norm(way))


def middle(head: Head) -> SurfacePoint:
    """The vertex in the middle of the sheet."""
    at = (SIDE // 2) * SIDE + SIDE // 2
    return SurfacePoint((at, at + 1, at + SIDE + 1), (1.0, 0.0, 0.0))
