"""The lips and the mouth's interior: rings of 19 points from the upper midline round the corner to the lower one.

The lips meet along three rings (front, middle, back of the contact) that lie on one ruled sheet, 0.08 mm apart above
and below: flat contact stays closed under Catmull-Clark subdivision, without the lips entering each other. Behind
them a vestibule opens before the teeth and gums, then the pouch of the cheeks and the bag to the throat.

The tables are in mm for a mouth 53 mm wide; they were placed by hand. Column 8 of 17 is the corner.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from composer.demo.field import Field
from composer.demo.layout import MOUTH_RINGS, Layout, ring

COUNT, CORNER = 19, 9
GAP_MM = 0.04  # each lip from the sheet between them
CHEEK_MM = 6.0  # the least thickness of the cheek over the mouth's pouch
_SKIN = [(0,-55,26.4),(3.4,-55,27.9),(6.6,-55.4,27.2),(10.5,-56.2,26),(15,-57.6,24),(20,-60,21.2),(25.2,-63.4,18.2),(29.6,-67.2,15.2),(31.4,-71.4,13.2),(30.8,-76,11.8),(28,-81,12.2),(24,-85,14.6),(19.3,-87.6,17),(14.5,-88.8,19),(9.8,-89.3,20.3),(5,-89.5,20.8),(0,-89.5,20.9)]  # fmt: skip  # noqa: E501
_ROLL = [(0,-60.6,28.1),(3.3,-59.4,29.4),(6.4,-60,28.7),(10.4,-61.5,27.3),(14.6,-63.4,25.2),(18.8,-65.6,22.7),(22.6,-67.9,19.9),(26.3,-68.7,17),(28,-70.2,15),(27,-72.5,15),(23.7,-76.8,17.3),(20.1,-79.5,19.9),(16.3,-81.6,22.2),(12.2,-82.9,24),(8.1,-83.5,25.1),(4,-83.7,25.6),(0,-83.7,25.8)]  # fmt: skip  # noqa: E501
_BORDER = [(0,-62.3,29.6),(3.1,-61.2,30.1),(6.3,-61.6,29.6),(10.2,-63,28.1),(14.3,-64.8,26.1),(18.3,-66.7,23.5),(22,-68.7,20.6),(25.4,-69.3,17.4),(26.7,-70,15.7),(25.6,-71.7,16),(22.5,-75.5,18.4),(19,-78,21),(15.3,-80,23.5),(11.5,-81.2,25.5),(7.7,-81.8,26.7),(3.8,-82,27.3),(0,-82,27.4)]  # fmt: skip  # noqa: E501
_FULL = [(0,-66.5,31.2),(3.1,-66.1,31.2),(6.2,-66.1,30.5),(10,-66.7,29),(14,-67.6,26.8),(17.9,-68.7,24),(21.4,-69.8,21),(24.5,-69.65,17.9),(25.7,-69.9,16.2),(24.7,-70.7,16.5),(21.8,-73.3,19.2),(18.4,-74.8,22.1),(14.9,-76,24.9),(11.2,-76.8,27.1),(7.5,-77.2,28.6),(3.7,-77.3,29.2),(0,-77.2,29.3)]  # fmt: skip  # noqa: E501
_LINE = [(0,-70.9,28.6),(3,-70.4,28.6),(6,-70.1,28),(9.8,-70.1,26.7),(13.6,-70.3,24.8),(17.3,-70.4,22.3),(20.6,-70.3,19.7),(23.5,-70.1,17.2),(24.9,-69.9,15.8)]  # fmt: skip  # noqa: E501
_TABLE_WIDTH = 52.0
_PROUD_MM = (0.9, 0.0)
"""How far the upper and the lower lip stand out of the skin about them beyond the tables, at the midline."""
_FORWARD = {"skin_inner": 0.0, "roll": 0.6, "border": 1.0, "full": 1.0, "line": 1.0}

Rows = NDArray[np.float64]


def _column(table: list[tuple[float, float, float]]) -> Rows:
    """A table of 17 columns as 19 points, monotone cubic over the column number."""
    return PchipInterpolator(np.arange(17), np.array(table, dtype=float), axis=0)(np.linspace(0, 16, COUNT))


class Lips:
    """The visible rings (19, 3) in mm of a character's lips, by name."""

    def __init__(self, field: Field) -> None:
        character = field.character
        line = np.array(_LINE + _LINE[-2::-1], dtype=float)
        upper = np.arange(COUNT) <= CORNER
        raw = {"skin_inner": _column(_SKIN), "roll": _column(_ROLL), "border": _column(_BORDER), "full": _column(_FULL)}
        raw["line"] = PchipInterpolator(np.arange(17), line, axis=0)(np.linspace(0, 16, COUNT))
        for name in ("roll", "border", "full"):
            raw[name][:, 1] = raw["line"][:, 1] + (raw[name][:, 1] - raw["line"][:, 1]) * character.lips
        raw["skin_inner"] += 0.3 * (raw["roll"] - raw["skin_inner"])
        for points in raw.values():
            points[:, 0] *= character.mouth_width / _TABLE_WIDTH
        skin = raw["skin_inner"].copy()
        without = Field(character, sulcus=1.6)  # lips hardly follow the groove below them
        corner = 1 - np.abs(np.arange(COUNT) - CORNER) / CORNER
        proud = np.where(upper, *_PROUD_MM) * (1 - corner**2)
        for name, points in raw.items():
            lift = (field if name == "skin_inner" else without).height(skin[:, 0], skin[:, 1]) - skin[:, 2]
            smooth = np.convolve(np.pad(lift, 2, mode="reflect"), np.array([1, 4, 6, 4, 1]) / 16, mode="valid")
            points[:, 2] += smooth + proud * _FORWARD[name]
        self.rings = raw
        self.side = np.where(upper, 1.0, -1.0)
        self.side[CORNER] = 0.0
        self.open = np.minimum(1.0, np.abs(np.arange(COUNT) - CORNER) / 1.5)
        self.corner = corner  # 0 at the midline, 1 at the corner


def place_lips(field: Field, layout: Layout, positions: Rows, ease: Rows) -> None:
    """Put all mouth rings; the two outermost are blended to the grid and may be eased."""
    lips = Lips(field)
    at = {name: layout.mouth[ring(MOUTH_RINGS, name)] for name in MOUTH_RINGS}
    rings = lips.rings
    for name in ("skin_inner", "roll", "border"):
        positions[at[name]] = rings[name]
    forward = np.array([0.0, 0.0, 1.0])
    swell = np.sqrt(np.minimum(1.0, (1 - lips.corner) * CORNER / 3))[:, None] * forward
    positions[at["vermilion_outer"]] = rings["border"] + 0.6 * (rings["full"] - rings["border"]) + 0.3 * swell
    positions[at["vermilion_inner"]] = rings["full"] + 0.45 * (rings["line"] - rings["full"]) + 0.5 * swell
    before, end = rings["line"][CORNER - 1], rings["line"][CORNER]
    slope = (end[1] - before[1]) / (end[0] - before[0])  # the corner lies on the sheet between the lips
    for name in ("vermilion_outer", "vermilion_inner"):
        corner = positions[at[name][CORNER]]
        corner[1] = end[1] + slope * (corner[0] - end[0])
        positions[at[name][CORNER]] = corner
    _place_contact(lips, at, positions)
    _place_interior(field, lips, layout, at, positions)
    positions[at["skin_outer"]] = 0.5 * (positions[at["surround"]] + rings["skin_inner"])
    ease[at["skin_outer"]] = 0.5
    ease[at["skin_inner"]] = 0.05


def _place_contact(lips: Lips, at: dict[str, NDArray[np.int64]], positions: Rows) -> None:
    line = lips.rings["line"]
    apart = (lips.side * lips.open * GAP_MM)[:, None] * np.array([0.0, 1.0, 0.0])
    for name, back in (("contact_front", -0.1), ("contact_middle", 2.3), ("contact_back", 4.6)):
        positions[at[name]] = line + apart - np.array([0, 0, 1.0]) * back


def _place_interior(
    field: Field, lips: Lips, layout: Layout, at: dict[str, NDArray[np.int64]], positions: Rows
) -> None:
    """The vestibule behind the lips, the pouch of the cheek, the bag and its closing grid at the throat."""
    turn = np.pi * np.arange(COUNT) / (COUNT - 1)
    wide, u = np.sin(turn) ** 0.8, lips.corner
    tall = np.sign(np.cos(turn)) * np.abs(np.cos(turn)) ** 0.45
    line, side = lips.rings["line"], lips.side
    lip = np.sqrt(np.minimum(1.0, (1 - u) * CORNER / 3)) * side
    front = line[0, 2] - 28.6
    down = tall < 0
    shapes = {
        "inner_lip": (line[:, 0] + 0.3 * u**4, line[:, 1] + 1.6 * lip, line[:, 2] - 5.9 - 0.6 * u),
        "vestibule": (line[:, 0] * (1 + 0.05 * u), line[:, 1] + 6.5 * tall, line[:, 2] - 6.6 - 6 * u**2),
        "pouch": (
            31.5 * wide,
            -71.5 + np.where(down, 17.5, 19.5) * tall,
            front + np.where(down, 16.5 - 23 * u**2, 19.5 - 27 * u**1.8),
        ),
        "bag": (29.0 * wide, -73 + 17 * tall, front - 14 - 8 * u**2),
        "throat": (17.0 * wide, -75 + 11 * tall, front - 34 + 0 * u),
    }
    for name, (x, y, z) in shapes.items():
        points = np.stack([x, y, z], axis=1)
        if name in ("pouch", "bag"):
            points -= field.normals(points) * np.maximum(field.distance(points) + CHEEK_MM, 0)[:, None]
        positions[at[name]] = points
    fill = layout.mouth_fill
    for i in range(6):
        for k in range(1, 6):
            point = (positions[fill[i, 0]] * (6 - k) + positions[fill[i, 6]] * k) / 6
            edge = positions[fill[6, k]]
            dome = 5 * (1 - (i / 6) ** 2) * np.sin(np.pi * k / 6)
            positions[fill[i, k]] = (edge[0] * i / 6, point[1], point[2] - dome)
