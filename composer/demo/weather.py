"""The fine relief of a sculpt: pores everywhere, wrinkles where a face has them, as displacements along the normal.

All of it is a function of place alone: a seeded lattice of values, interpolated smoothly (value noise), and bands of
waves bent by it. Heights are about 0.2 percent of the head's size; nothing is displaced near lids, lips and inside.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import Character
from composer.demo.primitives import bump, rise

Rows = NDArray[np.float64]
_CELLS = 64


def value_noise(points: Rows, spacing_mm: float, seed: int) -> Rows:
    """(m,) smooth noise in about [-1, 1] with features of `spacing_mm`; the same seed gives the same values."""
    lattice = np.random.default_rng(seed).uniform(-1, 1, (_CELLS, _CELLS, _CELLS))
    scaled = points / spacing_mm
    low = np.floor(scaled).astype(np.int64)
    t = scaled - low
    t = t * t * (3 - 2 * t)
    total = np.zeros(len(points))
    for corner in np.ndindex(2, 2, 2):
        weight = np.prod([t[:, k] if corner[k] else 1 - t[:, k] for k in range(3)], axis=0)
        i, j, k = ((low + corner) % _CELLS).T
        total += weight * lattice[i, j, k]
    return total


def relief(character: Character, points: Rows, calm: Rows, eye: Rows) -> Rows:
    """(m,) mm outwards at points (m, 3) mm; `calm` (m,) is 1 where nothing may move, `eye` the left eye's centre."""
    p = points.copy()
    p[:, 0] = np.abs(p[:, 0])
    face = rise(p[:, 2], -20.0, 30.0)
    pores = 0.10 * value_noise(points, 3.1, character.seed) + 0.06 * value_noise(points, 1.7, character.seed + 100)
    lumps = 0.25 * value_noise(points, 17.0, character.seed + 200)
    return (pores * (0.4 + 0.6 * face) + lumps + character.weather * _wrinkles(character, points, p, eye)) * (1 - calm)


def _wrinkles(character: Character, points: Rows, p: Rows, eye: Rows) -> Rows:
    bent = value_noise(points, 23.0, character.seed + 300)
    brow = rise(p[:, 1], 30, 42) * (1 - rise(p[:, 1], 74, 86)) * (1 - rise(p[:, 0], 34, 50)) * rise(p[:, 2], 40, 70)
    lines = -0.75 * brow * _valley((p[:, 1] - 0.0025 * p[:, 0] ** 2 + 2.6 * bent) / 11.0)
    from_eye = p - eye
    angle = np.arctan2(from_eye[:, 1], from_eye[:, 0])
    away = np.hypot(from_eye[:, 0], from_eye[:, 1])
    crow = rise(away, 15, 21) * (1 - rise(away, 30, 40)) * np.exp(-((angle / 0.75) ** 2)) * rise(p[:, 2], 20, 45)
    lines -= 0.6 * crow * _valley(angle / 0.34 + 0.35 * bent)
    neck = bump(p, (0, _throat_y(character), 35), (30, 16, 40))
    return lines - 0.5 * neck * _valley((p[:, 1] + 2.0 * bent) / 13.0)


def _throat_y(character: Character) -> float:
    """Height of the middle of the throat in mm."""
    return -135.0 * character.face_stretch


def _valley(phase: Rows) -> Rows:
    """Narrow valleys of depth 1 at every whole phase."""
    return (0.5 + 0.5 * np.cos(2 * np.pi * phase)) ** 3
