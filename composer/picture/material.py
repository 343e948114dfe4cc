"""The materials of a head in a picture: skin, with lips, teeth, tongue and lashes in their own colours.

Colours are albedos in linear light; `sheen` is how strongly a place mirrors the window. The material of a vertex
follows from what its part is, from words in the names of polygon groups and from the lip curves among the landmarks;
all else is skin of one tone. Where blood shows through it, `flush.py` finds. The colours are our choice, by eye.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.polygons import Polygons
from composer.head.head import Part
from composer.head.landmarks import Landmarks
from composer.picture.colour import rgb

Floats = NDArray[np.float64]

SKIN, SKIN_SHEEN = rgb(219, 188, 167), 0.07
PARTS = {
    "teeth": (rgb(226, 217, 196), 0.22),
    "tongue": (rgb(186, 122, 112), 0.12),
    "gum": (rgb(178, 116, 108), 0.12),
    "lashes": (rgb(62, 50, 44), 0.02),
    "brow": (rgb(96, 78, 64), 0.02),
    "hair": (rgb(96, 78, 64), 0.02),
    "eye": (rgb(226, 222, 214), 0.0),
}
GROUPS = {
    "mouth": (rgb(150, 92, 84), 0.10),
    "teeth": PARTS["teeth"],
    "tongue": PARTS["tongue"],
    "lash": PARTS["lashes"],
    "nostril": (rgb(112, 72, 60), 0.02),
    "socket": (rgb(196, 148, 136), 0.16),
    "lip": (rgb(190, 130, 119), 0.10),
}
LIPS, LIPS_SHEEN = GROUPS["lip"]
BROW = rgb(128, 98, 78)
INNER, SOFT = 0.5, 0.12
"""Of a lip's height: how far its red reaches into the mouth, and how soft its border is to either side (our choice)."""
SETTLED = 2
"""How often the red of the lips is averaged with that of the neighbours (our choice)."""


def materials(
    polygons: Polygons,
    neutral: NDArray,
    parts: Sequence[Part] = (),
    groups: Mapping[str, NDArray] | None = None,
    landmarks: Landmarks | None = None,
    are: Mapping[str, str] | None = None,
) -> tuple[Floats, Floats]:
    """Albedo (n, 3) in linear light and sheen (n,) at each vertex of the cage, whose rest is `neutral` (n, 3) mm. `are`
    says what each part is, by its name (`composer.head.understand.part_words`).
    """
    albedo = np.tile(SKIN, (polygons.n_vertices, 1))
    sheen = np.full(polygons.n_vertices, SKIN_SHEEN)
    for name, faces in (groups or {}).items():
        for word in _words(name):
            if word in GROUPS:
                colour, gloss = GROUPS[word]
                amount = _share(polygons, faces)[:, None]
                albedo = albedo * (1.0 - amount) + amount * colour
                sheen = np.where(amount[:, 0] > 0.5, gloss, sheen)
                break
    if landmarks is not None:
        amount = _settled(polygons, lip_weights(np.asarray(neutral, dtype=np.float64), landmarks))
        albedo += amount[:, None] * (LIPS - albedo)
        sheen += amount * (LIPS_SHEEN - sheen)
    for part in parts:
        what = (are or {}).get(part.name, "")
        if what in PARTS:
            albedo[part.vertices], sheen[part.vertices] = PARTS[what]
    return albedo, sheen


def _words(name: str) -> list[str]:
    """The words of a group's name, in the singular: "innerMouth_L" has inner, mouth and l."""
    return [word.lower().removesuffix("s") for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", name)]


def _share(polygons: Polygons, faces: NDArray) -> Floats:
    """(n,) the share of the polygons at each vertex that belong to `faces`."""
    on = np.zeros(polygons.n_faces)
    on[faces] = 1.0
    total = np.bincount(polygons.indices, minlength=polygons.n_vertices)
    hit = np.bincount(polygons.indices, weights=on[polygons.corner_face], minlength=polygons.n_vertices)
    return hit / np.maximum(total, 1)


def _settled(polygons: Polygons, amount: Floats) -> Floats:
    """(n,) an amount averaged with the neighbours': a border that runs across polygons has no teeth, and no vertex
    stands out by itself."""
    if not amount.any():
        return amount
    count = np.maximum(polygons.valence, 1)
    for _ in range(SETTLED):
        amount = 0.5 * amount + 0.5 * (polygons.adjacency @ amount) / count
    return amount


def lip_weights(neutral: Floats, landmarks: Landmarks) -> Floats:
    """(n,) in [0, 1], 1 on the red of the lips of a `neutral` (n, 3) mm: between the vermilion borders and the lip
    line, and some way into the mouth; soft at the border. Zeros where a curve is missing.
    """
    weight = np.zeros(len(neutral))
    for border_name, line_name in (("upper_lip", "lip_line_upper"), ("lower_lip", "lip_line_lower")):
        if border_name not in landmarks.curves or line_name not in landmarks.curves:
            continue
        border, line = (landmarks.curve_positions(name, neutral) for name in (border_name, line_name))
        if len(border) < 2 or len(line) < 2:
            continue
        high = float(_feet(border, line)[0].max())
        near = _about(neutral, line, 2.0 * high)
        near = near[cKDTree(line).query(neutral[near])[0] < 2.0 * high]
        to_line, at_line = _feet(neutral[near], line)
        to_border, at_border = _feet(neutral[near], border)
        between = np.einsum("ij,ij->i", at_line - neutral[near], at_border - neutral[near]) < 0.0
        inner = (to_line < to_border) & (to_line < INNER * high)
        within = np.where(between | inner, to_border, -to_border)
        soft = np.clip(0.5 + within / (2.0 * SOFT * high), 0.0, 1.0)
        weight[near] = np.maximum(weight[near], soft * soft * (3.0 - 2.0 * soft))
    return weight


def _feet(points: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Distance (k,) of points (k, 3) to a polyline (m, 3), and the nearest place (k, 3) on it."""
    best, foot = np.full(len(points), np.inf), np.zeros((len(points), 3))
    for a, b in pairwise(line):
        edge = b - a
        t = np.clip((points - a) @ edge / max(float(edge @ edge), 1e-12), 0.0, 1.0)
        place = a + t[:, None] * edge
        away = np.linalg.norm(points - place, axis=1)
        nearer = away < best
        best, foot = np.where(nearer, away, best), np.where(nearer[:, None], place, foot)
    return best, foot


def brow_weights(neutral: Floats, skin: NDArray, landmarks: Landmarks, hairy: bool = False) -> Floats:
    """(n,) in [0, 1]: a soft stroke along the brow curves, thinner towards the temple; zeros without such curves. Where
    the head has brows of hair (`hairy`) it is broader and fainter: the tone of skin with hair on it."""
    weight = np.zeros(len(neutral))
    half_mm, most = (4.2, 0.42) if hairy else (3.0, 0.75)
    size = float(np.linalg.norm(np.ptp(neutral, axis=0))) / 330.0
    for side in ("left", "right"):
        if f"brow_{side}" not in landmarks.curves:
            continue
        line = landmarks.curve_positions(f"brow_{side}", neutral)
        if len(line) < 2:
            continue
        near = _about(neutral, line, 1.4 * 1.15 * half_mm * size)
        distance, along = _to_line(neutral[near], line)
        half = half_mm * size * (1.15 - 0.6 * along**2)
        fade = np.clip(1.4 - distance / half, 0.0, 1.0)
        weight[near] = np.maximum(weight[near], most * fade * fade * (3.0 - 2.0 * fade))
    return weight * skin


def _about(points: Floats, line: Floats, reach_mm: float) -> NDArray[np.int64]:
    """The points (k,) in the box that lies `reach_mm` about a polyline."""
    low, high = line.min(axis=0) - reach_mm, line.max(axis=0) + reach_mm
    return np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))


def _to_line(points: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Distance in mm (k,) of points to a polyline, and the place of the nearest point along it, in [0, 1]."""
    best, where = np.full(len(points), np.inf), np.zeros(len(points))
    for i, (a, b) in enumerate(pairwise(line)):
        edge = b - a
        t = np.clip((points - a) @ edge / max(float(edge @ edge), 1e-12), 0.0, 1.0)
        away = points - a - t[:, None] * edge
        distance = np.sqrt(np.einsum("ij,ij->i", away, away))
        nearer = distance < best
        best, where = np.where(nearer, distance, best), np.where(nearer, (i + t) / (len(line) - 1), where)
    return best, where
