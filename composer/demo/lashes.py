"""Lashes: thin curved strands that grow from the edge of a lid in two or three uneven rows and fan outwards.

Counts and lengths follow those of adults: 90 to 160 lashes above in several rows, 75 to 80 below, 8 to 12 mm and 6 to
8 mm long with the root (common practice, from memory). A strand here stands for two of them.
"""

from __future__ import annotations

import numpy as np

from composer.demo.body import Body, Rows
from composer.demo.strands import strands, unit

_UPPER, _LOWER = 46, 24  # strands a lid
_ALONG = (1.0, 11.4)  # the first and the last column of a lid's ring that bears lashes
_STEPS = (0.0, 0.4, 0.75, 1.0)
STRAND = 2 * len(_STEPS)
"""Vertices of a strand, the two of its root first."""
_BUNCHES = 1.7  # bunches a column


def lashes(edge: Rows, margin: Rows, centre: Rows, upper: bool, size: float = 1.0) -> Body:
    """The left eye's lashes on one lid, from its `edge` and `margin` rings (13, 3) between the corners.

    `centre` (3,) of the eyeball, in mm; `size` 1 is common, 7.6 mm above and 4.2 mm below. The same lid gives the same
    lashes: their unevenness is seeded.
    """
    chance = np.random.default_rng(5 if upper else 6)
    count = _UPPER if upper else _LOWER
    along = np.linspace(*_ALONG, count) + chance.normal(0, 0.05, count)
    bunch = np.round(along * _BUNCHES + chance.normal(0, 0.15, count)) / _BUNCHES  # tips lean together
    column = np.arange(len(edge))
    mix = chance.uniform(0.05, 0.5, count)[:, None]

    def at(ring: Rows) -> Rows:
        return np.stack([np.interp(along, column, ring[:, k]) for k in range(3)], axis=1)

    root = mix * at(edge) + (1 - mix) * at(margin)
    out = root - centre
    out[:, 0] *= 0.45
    out = unit(out)
    rise = np.array([0.0, 1.0 if upper else -1.0, 0.0])
    fan = (np.clip((along - 5.5) / 6, -1, 1) + chance.normal(0, 0.08, count))[:, None] * np.array([1.0, 0, 0])
    together = (0.7 * (bunch - along) * np.ptp(edge[:, 0]) / (len(edge) - 1))[:, None] * np.array([1.0, 0, 0])
    full = 0.5 + 0.5 * np.sin(np.pi * np.clip((along - 0.2) / 12, 0, 1))
    length = size * (7.6 if upper else 4.2) * (full * chance.uniform(0.75, 1.1, count))[:, None]
    lift = 0.72 if upper else 0.5
    rows = [
        root - 0.2 * out
        + length * (s * 0.72 * out + (lift * s**2.2 - 0.10 * np.sin(np.pi * s)) * rise + 0.42 * s**1.3 * fan)
        + s * together
        for s in _STEPS
    ]  # fmt: skip
    side = unit(np.cross(rows[2] - rows[0], out + 0.3 * rise))
    half = 0.15 if upper else 0.10
    return strands(rows, side, [share * half for share in (1.0, 0.85, 0.5, 0.12)])
