"""What age and weather lay on a face at the cage's own scale: folds that follow its loops, in mm along the normals.

A fold shows only where a loop of the cage runs along it: the nasolabial one sinks the loop round the mouth and swells
the column outside it, the frown sinks the first column beside the midline, the bag swells one lid ring over another.
Finer wrinkles belong to the sculpts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.field import Field
from composer.demo.layout import EYE_RINGS, Layout, ring

Rows = NDArray[np.float64]


def shape_folds(field: Field, layout: Layout, positions: Rows) -> None:
    """Lay the character's folds, jowls, frown and bags on the eased half head."""
    c, grid, mouth, eye = field.character, layout.grid, layout.mouth, layout.eye
    bag = eye[ring(EYE_RINGS, "fold"), 23:12:-1]
    trough = eye[ring(EYE_RINGS, "middle"), 23:12:-1]
    along = np.sin(np.pi * np.arange(1, 12) / 12)
    amounts: list[tuple[NDArray[np.int64], Rows]] = [
        (mouth[0, 3:11], -0.62 * c.fold * np.array([0.35, 0.75, 1.0, 1.05, 1.0, 0.85, 0.6, 0.3])),
        (mouth[1, 4:10], -0.20 * c.fold * np.array([0.6, 1.0, 1.0, 1.0, 0.8, 0.5])),
        (grid[7, 14:21], 0.50 * c.fold * np.array([0.3, 0.75, 1.0, 1.0, 0.8, 0.5, 0.2])),
        (grid[8, 14:20], 0.30 * c.fold * np.array([0.4, 0.8, 1.0, 0.9, 0.6, 0.3])),
        (grid[5, 14:16], -0.30 * c.fold * np.array([0.7, 1.0])),
        (mouth[0, 11:14], -0.45 * c.jowl * np.array([0.6, 1.0, 0.8])),
        (grid[6, 22:25], -0.40 * c.jowl * np.array([1.0, 0.9, 0.4])),
        (grid[8, 21:25], 0.80 * c.jowl * np.array([0.4, 1.0, 1.0, 0.5])),
        (grid[9, 21:25], 0.80 * c.jowl * np.array([0.4, 0.9, 1.0, 0.6])),
        (grid[1, 3:7], -0.3 * c.weather * np.array([0.4, 1.0, 1.0, 0.5])),
        (grid[2, 3:7], 0.2 * c.weather * np.array([0.4, 1.0, 1.0, 0.3])),
        (bag, 1.1 * c.eye_bag * along),
        (trough, -0.9 * c.eye_bag * along),
    ]
    for ids, by in amounts:
        positions[ids] += field.normals(positions[ids]) * by[:, None]
