"""Eyebrows: hairs that lie on the skin over the orbit's upper rim, upright at the head and swept outwards to the tail.

The lower hairs of a brow turn up and the upper ones down, so that both meet in a ridge along its body; at its head they
stand steeper (common practice, no source). Roots and hairs are places on the smooth skin between the rings round the
eye, so every hair follows the skin under it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from composer.demo.body import Body, Rows
from composer.demo.strands import strands, unit

RINGS = ("orbit", "outer", "middle", "fold", "crease")
"""Rings round the eye between which a brow lies, from the outside in."""
HAIRS = 150
"""Hairs of a brow, the same on every head, so that all are of one topology. A brow has 250 to 500 (common practice,
from memory); here a hair stands for two or three."""
FIRST, LAST = 1.75, 10.1
"""Columns of these rings where a brow begins beside the nose and ends at the temple."""
_TURN = ((0.0, 0.10, 0.3, 1.0), (58.0, 42.0, 20.0, 2.0))  # along a brow, by how many degrees hairs turn upwards
_SHORT = ((0.0, 0.15, 0.7, 1.0), (0.72, 1.0, 1.0, 0.72))  # along a brow, how long hairs are
_STEPS = (0.0, 0.5, 1.0)
_HALF_MM = (0.18, 0.165, 0.03)
_ROOT_MM, _TIP = -0.35, 0.6  # how far roots lie under the skin, and how high tips stand in shares of the lift


@dataclass(frozen=True)
class Brow:
    """How a character's brow grows: `length` and `breadth` are 1 where common, 6 and 9 mm, and `strength` that of a
    hair, 0.32 mm; `lift` is how far hairs stand off the skin in mm; `line` is where the brow runs between two rings
    from its head to its tail, 0 on the orbit's own ring and 1 on the next.
    """

    strength: float = 1.0
    length: float = 1.0
    breadth: float = 1.0
    lift: float = 0.55
    line: tuple[float, float, float] = (0.6, 0.85, 0.95)


class _Skin:
    """The smooth skin between rings (k, 24, 3): on a regular cage its subdivision surface is the bicubic B-spline of
    the vertices (Catmull and Clark 1978). Rows count from the outermost ring; beyond it the skin goes straight on.
    """

    def __init__(self, rings: Rows) -> None:
        out = rings[0] - rings[1]
        self._rings = np.concatenate([[rings[0] + 2 * out, rings[0] + out], rings])

    def at(self, row: Rows, column: Rows, across: int = 0, along: int = 0) -> Rows:
        """(m, 3) the place at a row and a column (m,), or its derivative by row (`across`) or column (`along`)."""
        rows, by_row = _spline(np.clip(row, -0.99, len(self._rings) - 4.01) + 2, across)
        columns, by_column = _spline(column, along)
        around = self._rings[rows[:, :, None], columns[:, None, :] % 24]
        return np.einsum("mi,mj,mijk->mk", by_row, by_column, around)


def _spline(t: Rows, derivative: int) -> tuple[np.ndarray, Rows]:
    """The four numbers (m, 4) of the points of a uniform cubic B-spline about each `t` (m,), and their weights."""
    whole = np.floor(t).astype(int)
    u = t - whole
    if derivative:
        weights = [-((1 - u) ** 2) / 2, (3 * u**2 - 4 * u) / 2, (-3 * u**2 + 2 * u + 1) / 2, u**2 / 2]
    else:
        weights = [(1 - u) ** 3 / 6, (3 * u**3 - 6 * u**2 + 4) / 6, (-3 * u**3 + 3 * u**2 + 3 * u + 1) / 6, u**3 / 6]
    return whole[:, None] + np.arange(-1, 3), np.stack(weights, axis=1)


def brow(rings: Rows, grown: Brow) -> Body:
    """The hairs of the left brow; `rings` (5, 24, 3) mm are those of `RINGS`. Seeded, so the same each time."""
    chance = np.random.default_rng(9)
    count = HAIRS
    t = chance.permuted((np.arange(count) + chance.uniform(0, 1, count)) / count)
    t = t + 0.10 * np.sin(2 * np.pi * t) / np.pi  # a little denser along the body
    across = np.clip(chance.normal(0, 0.5, count), -1, 1)
    skin = _Skin(rings)
    column = FIRST + (LAST - FIRST) * t
    row = np.interp(t, (0.0, 0.5, 1.0), grown.line)
    per_row = np.linalg.norm(skin.at(row, column, across=1), axis=1)
    half = 4.4 * grown.breadth * (1 - 0.68 * t**1.5) * (0.55 + 0.45 * np.clip(t / 0.14, 0, 1))
    row = row - across * half / per_row
    up, ahead = unit(-skin.at(row, column, across=1)), unit(skin.at(row, column, along=1))
    turn = np.radians(np.interp(t, *_TURN) - 24 * across * np.clip(t / 0.3, 0, 1) + chance.normal(0, 8, count))
    length = 6.0 * grown.length * chance.uniform(0.75, 1.2, count) * np.interp(t, *_SHORT)
    way = np.cos(turn)[:, None] * ahead + np.sin(turn)[:, None] * up
    step_row, step_column = _steps(skin, row, column, way)
    stands = grown.lift * chance.uniform(0.7, 1.5, count)
    rows, normals = [], []
    for s, height in zip(_STEPS, (_ROOT_MM + 0 * stands, 1.45 * stands, _TIP * stands), strict=True):
        where = row + s * length * step_row, column + s * length * step_column
        normals.append(unit(np.cross(skin.at(*where, across=1), skin.at(*where, along=1))))
        normals[-1] *= np.sign(normals[-1][:, 2:])
        rows.append(skin.at(*where) + height[:, None] * normals[-1])
    side = unit(np.cross(rows[2] - rows[0], normals[1]))
    return strands(rows, side, [grown.strength * half for half in _HALF_MM])


def _steps(skin: _Skin, row: Rows, column: Rows, way: Rows) -> tuple[Rows, Rows]:
    """By how much row and column change for a mm along `way` (m, 3), which lies in the skin."""
    a, b = skin.at(row, column, across=1), skin.at(row, column, along=1)
    aa, ab, bb = (np.einsum("mj,mj->m", p, q) for p, q in ((a, a), (a, b), (b, b)))
    wa, wb = np.einsum("mj,mj->m", way, a), np.einsum("mj,mj->m", way, b)
    det = aa * bb - ab * ab
    return (wa * bb - wb * ab) / det, (wb * aa - wa * ab) / det
