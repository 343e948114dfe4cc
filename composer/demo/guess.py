"""Where the grid's vertices start: a small table of places on the head, interpolated, then put on the field.

Rows run from the hairline to the neck border, columns from the front midline to the back one. The table gives a
point for some of each; monotone cubics (Fritsch and Carlson 1980, as scipy's PchipInterpolator) fill the rest. The
nose is given column by column, because there a few millimetres matter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from composer.demo.character import Character
from composer.demo.layout import CAP, COLUMNS, EAR, EYE, MOUTH, ROWS, Layout

_AT_COLUMNS = [0, 4, 6, 8, 12, 17, 21, 27]
_AT_ROWS = [0, 5, 9, 16, 19, 22, 25, 29, 34]
_TABLE = np.array([
 [(0,84,72),(28,83,63),(41,82,51),(50,81,36),(59,80,6),(52,77,-40),(34,73,-66),(0,70,-84)],
 [(0,19,97),(9,19,96),(23,24,91),(35,25,82),(59,19,55),(73,16,6),(76,16,-34),(0,8,-101)],
 [(0,-13,104),(9,-14,86),(20,-20,79),(33,-22,76),(57,-18,57),(71,-14,8),(71,-14,-30),(0,-25,-96)],
 [(0,-50,101),(16,-51,94),(27,-49,86),(38,-47,77),(56,-45,52),(65,-57,9),(60,-57,-28),(0,-64,-78)],
 [(0,-72,99),(26,-72,86),(38,-72,77),(45,-71,66),(55,-66,46),(62,-66,6),(58,-66,-28),(0,-78,-74)],
 [(0,-98,93),(15,-97,90),(26,-95,82),(36,-89,69),(50,-80,42),(57,-72,6),(55,-72,-28),(0,-92,-70)],
 [(0,-119,84),(14,-118,80),(24,-114,72),(33,-108,60),(44,-98,40),(53,-87,5),(54,-88,-32),(0,-112,-68)],
 [(0,-124,38),(15,-124,36),(24,-123,32),(32,-120,24),(44,-114,8),(54,-110,-14),(51,-112,-44),(0,-128,-70)],
 [(0,-166,22),(16,-166,20),(26,-166,15),(37,-166,7),(53,-166,-8),(62,-166,-36),(52,-166,-66),(0,-166,-84)],
], dtype=float)  # fmt: skip
_NOSE: dict[int, list[tuple[float, float, float]]] = {
 10: [(0,-20,108),(4.5,-20,106),(8.5,-20,97),(12,-21,88),(16,-23,82)],
 11: [(0,-27,112),(4.8,-27,110),(9,-28,102),(13,-29,92),(18,-31,84)],
 12: [(0,-33,117),(5,-33,115),(9.5,-32.5,107),(14.5,-34.2,99),(19.5,-36.5,89)],
 13: [(0,-39,119),(5.2,-39,117),(10,-38.8,110),(17.5,-40,100),(20.5,-42.5,89)],
 14: [(0,-45,115),(4.4,-45.5,113.5),(9.5,-46.3,111),(16.9,-46.8,100),(19.6,-47.8,89.5)],
 15: [(0,-50.6,108),(3.8,-49.5,107),(8.5,-49.6,105),(14.0,-49.8,98),(17.6,-51,91)],
 16: [(0,-51,101),(3.5,-51.2,101),(7.3,-52,100),(12,-53,97),(17,-54,91.5)],
}  # fmt: skip


def grid_guess(character: Character, layout: Layout) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """First positions (n, 3) in mm of the grid's and the cap's vertices, and how freely each may be eased (n,).

    Vertices of the rings are left at the origin with ease 0; their own files place them.
    """
    by_row = PchipInterpolator(_AT_COLUMNS, _TABLE, axis=1)(np.arange(COLUMNS + 1))
    full = PchipInterpolator(_AT_ROWS, by_row, axis=0)(np.arange(ROWS + 1)).transpose(1, 0, 2)
    positions, ease = np.zeros((layout.n, 3)), np.zeros(layout.n)
    there = layout.grid >= 0
    positions[layout.grid[there]] = full[there]
    table = _ease_table()
    widen = (character.nose_breadth - 36) / 36
    for row, points in _NOSE.items():
        for column, point in enumerate(points):
            if layout.grid[column, row] >= 0:
                wider = 1 + widen * min(1.0, column / 3)
                positions[layout.grid[column, row]] = np.array(point) * np.array([wider, 1, 1])
                table[column, row] = 0.012 if row < 16 else 0.03
    ease[layout.grid[there]] = table[there]
    _cap_guess(layout, positions, ease)
    return positions, ease


def _ease_table() -> NDArray[np.float64]:
    """How freely each grid vertex may be eased: hardly at noses, lips and ears, not at all on the neck border."""
    table = np.ones((COLUMNS + 1, ROWS + 1))
    table[EYE[0], EYE[2] : EYE[3] + 1] = 0.3
    table[: EYE[1] + 1, EYE[2]] = 0.3
    table[MOUTH[1], MOUTH[2] : MOUTH[3] + 1] = 0.08
    table[: MOUTH[1] + 1, MOUTH[3]] = 0.4
    table[EAR[0] : EAR[1] + 1, EAR[2] : EAR[3] + 1] = 0.03
    table[:, ROWS] = 0.0
    return table


def _cap_guess(layout: Layout, positions: NDArray[np.float64], ease: NDArray[np.float64]) -> None:
    last = layout.cap.shape[1] - 1
    for i in range(CAP):
        for k in range(1, last):
            along = k / last
            middle = positions[layout.cap[i, 0]] * (1 - along) + positions[layout.cap[i, last]] * along
            x = positions[layout.cap[CAP, k], 0] * i / CAP
            height = np.sqrt(max(0.0, 1 - (x / 70) ** 2 - ((middle[2] + 6) / 90) ** 2))
            positions[layout.cap[i, k]] = (x, 34 + 78 * height, middle[2])
            ease[layout.cap[i, k]] = 1.0
