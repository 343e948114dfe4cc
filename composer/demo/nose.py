"""The lower nose: wings, their creases, the columella and the nostrils, placed on and beside the field.

The tip and the wings lie on the field. The crease behind each wing, the base on the upper lip and the rings of the
nostril are placed from a small table (mm, the average head): the hole's border in the grid runs over the swell of the
wing, ring 1 is the nostril's own rim, rings 2 and 3 turn up into the nose.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import Character
from composer.demo.field import Field
from composer.demo.layout import Layout
from composer.demo.primitives import rise

Rows = NDArray[np.float64]

_CREASE = {12: (17.6, -34.6), 13: (20.0, -39.2), 14: (20.6, -44.2), 15: (19.0, -47.8)}  # column 4: x, y
_BASE = {
    (0, 15): (0, -51.6, 109.4), (1, 15): (3.7, -50.9, 108.0), (3, 15): (16.8, -47.0, 96.8),
    (0, 16): (0, -51.2, 103.4), (1, 16): (3.4, -52.6, 102.0), (2, 16): (8.4, -53.2, 100.0),
    (3, 16): (14.0, -53.6, 94.8), (4, 16): (19.2, -54.2, 90.4),
}  # fmt: skip
_SWELL = {
    (2, 10): -0.5, (3, 10): -1.2, (4, 10): -1.2, (2, 11): -1.0, (3, 11): -2.0, (4, 11): -1.6, (2, 12): -2.2,
    (3, 12): -3.2, (4, 12): -1.0, (2, 13): -1.5, (3, 13): 1.5, (2, 14): -0.8, (3, 14): 1.5, (0, 13): 0.5, (1, 13): 1.1,
}  # fmt: skip  # mm outwards: the groove over the wing, the wing, the tip
_UP = np.array([0.0, 1.6, 0.0])
"""How much higher the nose's base lies than the tables have it, mm."""
_RIM = [
    (6.0, -49.2, 111.2), (9.7, -48.6, 108.6), (14.4, -48.4, 102.0), (14.6, -49.4, 97.6), (12.2, -50.9, 96.2),
    (8.2, -51.4, 98.2), (5.9, -51.1, 101.4), (6.0, -49.6, 107.0),
]  # fmt: skip
_INSIDE = [
    (6.5, -47.0, 107.4), (9.0, -46.8, 105.6), (12.8, -46.6, 101.0), (13.2, -46.8, 97.6), (11.4, -47.2, 96.6),
    (8.2, -47.4, 98.0), (6.5, -47.2, 101.2), (6.5, -47.2, 104.8),
]  # fmt: skip


def place_nose(field: Field, layout: Layout, positions: Rows) -> NDArray[np.bool_]:
    """Put crease, base and nostril. Returns (n,) which vertices are now held and need no field."""
    held = np.zeros(layout.n, dtype=bool)
    base = np.array(list(_BASE.values()), dtype=float) + _UP
    ids = np.array([layout.grid[c] for c in _BASE])
    positions[ids] = fitted(field.character, base)
    sunk = np.array([layout.grid[4, row] for row in _CREASE])
    flat = np.array(list(_CREASE.values()), dtype=float)
    crease = fitted(field.character, np.column_stack([flat, np.full(len(flat), 90.0)]) + _UP)
    near, far = (field.height(crease[:, 0] + gap, crease[:, 1]) for gap in (11.0, 17.0))
    crease[:, 2] = near + (near - far) / 6 * 9.0 + np.array([0.4, -2.0, -2.4, -1.4])
    positions[sunk] = crease
    positions[ids[-1], 2] = field.height(positions[ids[-1:], 0], positions[ids[-1:], 1])[0]
    held[ids], held[sunk] = True, True
    rim, inside = np.array(_RIM) + _UP, np.array(_INSIDE) + _UP
    middle = inside.mean(0)
    depth = middle + (inside - middle) * 0.8 + np.array([0.0, 3.8, -3.6])
    for ring, points in ((1, rim), (2, inside), (3, depth)):
        positions[layout.nostril[ring]] = fitted(field.character, points)
    positions[layout.nostril_fill[1, 1]] = fitted(field.character, (depth.mean(0) + np.array([0, 0.8, -0.4]))[None])[0]
    return held


def shape_nose(field: Field, layout: Layout, positions: Rows) -> None:
    """After the easing: sink the groove above the wing and swell the wing, along the field's normals."""
    ids = np.array([layout.grid[cell] for cell in _SWELL])
    positions[ids] += field.normals(positions[ids]) * np.array(list(_SWELL.values()))[:, None]


def fitted(character: Character, points: Rows) -> Rows:
    """(m, 3) places of the average nose moved to a character's: broader at the wings, tip further out and lower."""
    x, y, z = points.T
    tip = np.exp(-((x / 14.0) ** 2)) * rise(z, 97.0, 113.0)
    wide = (character.nose_breadth - 37.0) / 2 * rise(np.abs(x), 3.0, 15.0)
    drop, out = 0.8 * character.nose_drop, character.nose_forward
    return np.stack([x + np.sign(x) * wide, y - drop * tip, z + out * tip], axis=1)
