"""The scene of the mixing rows: about 25,000 vertices, 60 shapes, 12 regions, 40 cells with a weight."""

from __future__ import annotations

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.head.head import Head, Shape
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe
from masks.partition import effective_masks

SIDE, SHAPES, REGIONS, ACTIVE, SEED = 64, 60, 12, 40, 11
RAMP = 0.15
"""Half the width of a region's soft border, as a chord of the unit sphere."""


def mixing_scene() -> tuple[Mixer, Recipe]:
    """A mixer and a recipe of 40 cells. Every shape moves every vertex, as scans do; regions share the sphere."""
    polygons, neutral = cube_sphere(SIDE, seed=SEED)
    rng = np.random.default_rng(SEED)
    ball = neutral / np.linalg.norm(neutral, axis=1, keepdims=True)
    shapes = []
    for number in range(SHAPES):
        wave = np.sin(ball @ (3.0 * rng.normal(size=3)) + rng.uniform(0, 6.28))
        shapes.append(Shape(f"shape_{number}", (5.0 * wave[:, None] * rng.normal(size=3)).astype(np.float32)))
    centres = _spread(REGIONS)
    away = np.linalg.norm(ball[:, None] - centres, axis=2)
    nearest_other = np.stack([np.delete(away, r, axis=1).min(axis=1) for r in range(REGIONS)], axis=1)
    t = np.clip(0.5 + (nearest_other - away) / (4 * RAMP), 0.0, 1.0)
    raw = t * t * (3.0 - 2.0 * t)
    names = [f"region_{r}" for r in range(REGIONS)]
    shared = effective_masks(raw.T)
    head = Head("cube_sphere", polygons, neutral, tuple(shapes))
    chosen = np.sort(rng.choice(REGIONS * SHAPES, size=ACTIVE, replace=False))
    cells = tuple(
        Cell(names[at // SHAPES], f"shape_{at % SHAPES}", float(rng.uniform(0.1, 1.0))) for at in chosen.tolist()
    )
    return Mixer(head, dict(zip(names, shared, strict=True))), Recipe("bench", cells)


def _spread(count: int) -> np.ndarray:
    """(count, 3) directions spread evenly over the sphere (Fibonacci lattice)."""
    i = np.arange(count) + 0.5
    polar, around = np.arccos(1 - 2 * i / count), np.pi * (1 + 5**0.5) * i
    return np.stack([np.sin(polar) * np.cos(around), np.cos(polar), np.sin(polar) * np.sin(around)], axis=1)
