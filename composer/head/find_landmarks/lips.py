"""The lip line and the corners of the mouth, from what parts as the jaw opens; the red of the lips."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from composer.head.find_landmarks.depth import along, convexity
from composer.head.find_landmarks.face import SIDES, Face

Floats = NDArray[np.float64]
PARTED = 0.35
"""Of what parts most (the 99.5th percentile): a pair that parts less is no lip's."""
COVERED = 5.0
"""mm: a pair that something covers by more lies within the mouth."""
NEAR = 14.0
"""mm above or below the lip line's middle: what parts further off is another opening."""


@dataclass(frozen=True, eq=False)
class LipLine:
    """The pairs of vertices that meet along the lips, from the right corner to the left: `upper` and `lower` (k,), and
    their middles `line` (k + 2, 3) with the corners' places at the ends; `corners` by side (vertices).
    """

    upper: NDArray[np.int64]
    lower: NDArray[np.int64]
    line: Floats
    corners: dict[str, int]


def lip_line(face: Face) -> LipLine | None:
    """The lip line of a face; None where no shape opens its mouth."""
    opening, s, places = face.anatomy.opening, face.scale, face.places
    if opening.shape is None:
        return None
    delta = face.anatomy.motion.shape(opening.shape) @ face.anatomy.frame.axes.T
    much = opening.parted > PARTED * float(np.quantile(opening.parted, 0.995))
    a, b = opening.pairs.a[much], opening.pairs.b[much]
    a_lower = delta[a, 1] < delta[b, 1]
    lower, upper = np.where(a_lower, a, b), np.where(a_lower, b, a)
    chosen = _outer(face, upper, lower)
    upper, lower = upper[chosen], lower[chosen]
    middle = (places[upper] + places[lower]) / 2.0
    if len(middle) < 4:
        return None
    corners = {side: _corner(face, upper, lower, middle, sign) for sign, side in SIDES}
    right, left = places[corners["right"]], places[corners["left"]]
    kept = _binned(middle, s, right[0], left[0])
    line = np.concatenate([right[None], middle[kept], left[None]])
    return LipLine(upper[kept], lower[kept], line, corners)


def _outer(face: Face, upper: NDArray, lower: NDArray) -> NDArray[np.int64]:
    """The pairs that nothing covers, those of an open mouth's border first, near the lip line's middle."""
    s, places = face.scale, face.places
    middle = (places[upper] + places[lower]) / 2.0
    steps = np.array([-s, 0.0, s])
    over = face.front.at(middle[:, 0, None, None] + steps[:, None], middle[:, 1, None, None] + steps[None])
    cover = over.max(axis=(1, 2)) - middle[:, 2]
    seen = cover < COVERED * s
    if int(seen.sum()) < 12:
        seen = cover < np.quantile(cover, 0.5)
    kept = np.flatnonzero(seen)
    border = face.head.polygons.border_vertices
    on = kept[border[upper[kept]] & border[lower[kept]]]
    if len(on) >= 12 and abs(float(middle[on, 0].mean())) < 8.0 * s:
        kept = on
    central = kept[np.abs(middle[kept, 0]) < 8.0 * s]
    if len(central):
        height = float(np.median(middle[central, 1]))
        kept = kept[np.abs(middle[kept, 1] - height) < NEAR * s]
    return kept


def _corner(face: Face, upper: NDArray, lower: NDArray, middle: Floats, sign: int) -> int:
    """The most lateral vertex of the shortest way along the skin from an upper vertex to the lower one it meets."""
    best = -1
    for pair in np.argsort(-sign * middle[:, 0])[:3]:
        start, end = int(upper[pair]), int(lower[pair])
        if start == end:
            way = [start]
        else:
            far, before = dijkstra(face.graph, indices=start, limit=60.0 * face.scale, return_predecessors=True)
            if not np.isfinite(far[end]):
                continue
            way = [end]
            while way[-1] != start:
                way.append(int(before[way[-1]]))
        furthest = max(way, key=lambda vertex: sign * face.places[vertex, 0])
        if best < 0 or sign * face.places[furthest, 0] > sign * face.places[best, 0]:
            best = furthest
    return best if best >= 0 else int(upper[np.argmax(sign * middle[:, 0])])


def _binned(middle: Floats, s: float, right: float, left: float) -> NDArray[np.int64]:
    """The pairs furthest ahead, one in each strip between the corners, from right to left."""
    width = 2.0 * s if len(middle) > 150 else 4.0 * s
    inside = np.flatnonzero((middle[:, 0] > right) & (middle[:, 0] < left))
    strip = np.floor((middle[inside, 0] - right) / width).astype(int)
    kept = [inside[strip == each][np.argmax(middle[inside[strip == each], 2])] for each in np.unique(strip)]
    return np.array(kept, dtype=np.int64)


def vermilion(face: Face, line: Floats, middle: Floats, upwards: int) -> Floats:
    """(k, 3) the border of a lip's red from the right corner to the left: the most convex place of each slice.

    `line` (k, 3) is the lip line with the corners at its ends, `middle` (3,) the border on the midline, which the
    slices are tracked from; `upwards` is 1 for the upper lip, -1 for the lower.
    """
    s, front = face.scale, face.front
    halves = {}
    start = float(middle[1] - np.interp(0.0, line[:, 0], line[:, 1]))
    for _, side in SIDES:
        corner = line[-1] if side == "left" else line[0]
        before, found = start, []
        for share in np.linspace(0.07, 0.86, 12):
            lateral = share * float(corner[0])
            height = float(np.interp(lateral, line[:, 0], line[:, 1]))
            up = np.arange(height - 30.0 * s, height + 30.0 * s, 0.5 * s)
            ahead = front.profile(lateral, up)
            stands = convexity(up, ahead, 4)
            expected = 0.582 * before + 0.4 * start * (1.0 - share**3)
            off = np.abs(up - height - expected)
            near = (off < 2.0 * s) & np.isfinite(stands) & (upwards * (up - height) > 0.7 * s)
            if near.any():
                best = np.flatnonzero(near)[np.argmax(stands[near] - 0.02 * off[near] / s)]
                before = float(up[best]) - height
                found.append(np.array([lateral, up[best], ahead[best]]))
        halves[side] = found
    return np.array([line[0], *halves["right"][::-1], middle, *halves["left"], line[-1]])


def stomion(lips: LipLine) -> Floats:
    """(3,) the middle of the lip line."""
    return along(lips.line, 0.5)
