"""Heads that wear a cap, a collar, or hair as a bumpy shell, and heads with a large bald skull; made by code."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Surface

Rows = NDArray[np.float64]
EDGE_MM = 3.0
"""Way over which a cap, a collar or hair rises from the skin."""


def cap(skin: Surface, brow: Rows, nape: Rows, thick_mm: float) -> Rows:
    """(s, 3) a smooth cap: all above a plane from 25 mm above the brow (3,) to the nape (3,), out along the normals."""
    return _out(skin, _above(skin, brow + [0.0, 25.0, 0.0], nape), np.full(skin.n_vertices, thick_mm))


def hair(skin: Surface, brow: Rows, nape: Rows, thick_mm: float, seed: int) -> Rows:
    """(s, 3) hair as a bumpy shell over the same place: waves of 12 to 25 mm, a third of its thickness high."""
    rng = np.random.default_rng(seed)
    waves = rng.normal(0.0, 1.0, (6, 3))
    waves *= (2.0 * np.pi / rng.uniform(12.0, 25.0, 6) / np.linalg.norm(waves, axis=1))[:, None]
    bumps = np.sin(skin.positions @ waves.T + rng.uniform(0.0, 2.0 * np.pi, 6)).sum(axis=1) / np.sqrt(3.0)
    return _out(skin, _above(skin, brow + [0.0, 25.0, 0.0], nape), thick_mm * (1.0 + bumps / 3.0))


def collar(skin: Surface, chin: Rows, nape: Rows, thick_mm: float) -> Rows:
    """(s, 3) a collar: all below a plane from 25 mm below the chin (3,) to the nape (3,)."""
    below = -_above(skin, chin - [0.0, 25.0, 20.0], nape - [0.0, 25.0, 0.0])
    return _out(skin, below, np.full(skin.n_vertices, thick_mm))


def large_skull(skin: Surface, brow: Rows, times: float) -> Rows:
    """(s, 3) a bald skull, wider, longer and higher by `times`, more and more over 80 mm from the brow (3,) on."""
    share = np.clip((skin.positions[:, 1] - brow[1]) / 80.0, 0.0, 1.0)
    grown = 1.0 + (times - 1.0) * (share * share * (3.0 - 2.0 * share))[:, None]
    return np.asarray(brow + grown * (skin.positions - brow))


def _above(skin: Surface, front: Rows, back: Rows) -> Rows:
    """(s,) mm above a plane through two places (3,), level from ear to ear."""
    way = (front - back) / np.linalg.norm(front - back)
    up = np.cross(way, [1.0, 0.0, 0.0])
    up *= np.sign(up[1])
    return np.asarray((skin.positions - front) @ up)


def _out(skin: Surface, inside_mm: Rows, thick: Rows) -> Rows:
    rise = np.clip(inside_mm / EDGE_MM + 0.5, 0.0, 1.0)
    return np.asarray(skin.positions + (rise * thick)[:, None] * skin.vertex_normals)
