"""A character's proportions as one smooth map of space, applied to the finished head and its parts.

The map leaves the lids' neighbourhood a pure shift, so that eyeballs stay round and lids still shut on them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import Character
from composer.demo.primitives import rise

Rows = NDArray[np.float64]
_CALM = 19.0  # nothing is stretched within this height of the eyes, mm


def _past(distance: Rows, soft: float) -> Rows:
    """0 up to 0, then rising to slope 1 over about `soft` mm: a ramp without a kink."""
    t = np.maximum(distance, 0.0)
    return t - soft * (1 - np.exp(-t / soft))


def proportioned(character: Character, points: Rows) -> Rows:
    """(n, 3) the points of the average head moved to the character's proportions."""
    x, y, z = points.T
    below = (character.face_stretch - 1) * _past(-y - _CALM, 10.0)
    above = (character.vault_stretch - 1) * _past(y - _CALM - 8, 14.0)
    shift = (character.pupils_apart - 64.0) / 2
    near_eyes = rise(np.abs(x), 4, 14) * (1 - rise(np.abs(x), 50, 78)) * (1 - rise(np.abs(y), 20, 48))
    return np.stack([x + np.sign(x) * shift * near_eyes, y - below + above, z], axis=1)
