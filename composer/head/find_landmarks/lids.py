"""The margins of the lids and the corners of the eyes, about the eyeball and by what meets in a blink."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

from composer.geometry.vectors import cross
from composer.head.find_landmarks.depth import barycentric_grid
from composer.head.find_landmarks.face import Face
from composer.head.understand.facing import facing_pairs

Floats = NDArray[np.float64]
RADII = (0.93, 1.8)
"""In the ball's radii: between these lies the skin that frames the eye's opening."""
STEP_DEG = 2.0
MEETS, APART, MOVES = 0.006, 0.004, 0.012
"""Of the skin's size: what lies so near in a shape meets, if it was further apart at rest by the second; a shape that
moves the lids by less than the third closes nothing.
"""


@dataclass(frozen=True, eq=False)
class Lids:
    """The inner and outer corner (3,) of an eye and its `upper` and `lower` margins (k, 3) from inner to outer."""

    inner: Floats
    outer: Floats
    upper: Floats
    lower: Floats


def lids_of(face: Face, side: str) -> Lids | None:
    """The lids about the eyeball of one side; None where there is no ball, or no opening before it."""
    if side not in face.eyes:
        return None
    centre, radius = face.eyes[side]
    sign = 1 if side == "left" else -1
    found = _margin(face, centre, radius)
    if found is None or len(found) < 8:
        return None
    medial = found[:, 0] * sign
    inner, outer = found[np.argmin(medial)], found[np.argmax(medial)]
    met = _met_inner(face, centre, radius, sign)
    if met is not None and np.linalg.norm(met - inner) < 0.3 * abs(outer[0] - inner[0]):
        inner = met
    turn = _round_outer(face, found, inner, outer, sign)
    if turn is not None:
        outer = turn
    across = np.where(abs(outer[0] - inner[0]) > 1e-9, (found[:, 0] - inner[0]) / (outer[0] - inner[0]), 0.0)
    base = inner[1] + across * (outer[1] - inner[1])
    between = (across > 0.0) & (across < 1.0)
    margins = []
    for above in (True, False):
        line = found[between & ((found[:, 1] > base) == above)]
        line = line[np.argsort(np.abs(line[:, 0] - inner[0]))]
        margins.append(np.concatenate([inner[None], line, outer[None]]))
    return Lids(inner, outer, margins[0], margins[1])


def _margin(face: Face, centre: Floats, radius: float) -> Floats | None:
    """(k, 3) by direction about the opening's middle, the place of the skin nearest to it, seen from the ball."""
    points = _samples(face, centre, 2.4 * radius, 0.6 * face.scale)
    off = points - centre
    away = np.linalg.norm(off, axis=1)
    near = (away > RADII[0] * radius) & (away < RADII[1] * radius) & (off[:, 2] > -0.1 * radius)
    if int(near.sum()) < 30:
        return None
    points, seen = points[near], off[near] / away[near][:, None]
    x, y = np.meshgrid(np.arange(-0.5, 0.51, 0.05), np.arange(-0.4, 0.41, 0.05))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    looks = np.concatenate([flat, np.sqrt(1.0 - np.minimum((flat**2).sum(1), 0.9))[:, None]], axis=1)
    gap = cKDTree(seen).query(looks)[0]
    axis = looks[np.argmax(gap - 0.15 * np.linalg.norm(flat, axis=1))]
    right = np.cross([0.0, 1.0, 0.0], axis)
    right /= np.linalg.norm(right)
    up = np.cross(axis, right)
    tilt, turn = np.arccos(np.clip(seen @ axis, -1.0, 1.0)), np.degrees(np.arctan2(seen @ up, seen @ right))
    margin: list[int] = []
    for angle in np.arange(-180.0, 180.0, STEP_DEG):
        wedge = np.flatnonzero(np.abs((turn - angle + 180.0) % 360.0 - 180.0) < 0.6 * STEP_DEG)
        if len(wedge):
            margin.append(int(wedge[np.argmin(tilt[wedge])]))
    return points[np.array(list(dict.fromkeys(margin)))]


def _samples(face: Face, centre: Floats, reach: float, step: float) -> Floats:
    """(m, 3) points of the skin's triangles about a place, no further apart than `step` mm."""
    triangles = face.anatomy.pieces.skin_triangles
    middle = face.places[triangles].mean(axis=1)
    near = (np.linalg.norm(middle - centre, axis=1) < reach) & (middle[:, 2] > centre[2] - 0.1 * reach)
    corners = face.places[triangles[near]]
    side = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1, initial=0.0)
    steps = np.clip(np.ceil(side / step).astype(int), 1, 16)
    out = [
        np.einsum("gk,mkx->mgx", barycentric_grid(int(k)), corners[steps == k]).reshape(-1, 3)
        for k in np.unique(steps)
    ]
    return np.concatenate(out) if out else np.zeros((0, 3))


def _met_inner(face: Face, centre: Floats, radius: float, sign: int) -> Floats | None:
    """The most medial place at rest of what meets in a blink: the ball does not see the caruncle behind it."""
    motion, size = face.anatomy.motion, face.anatomy.motion.size
    near = np.flatnonzero(face.skin & (np.linalg.norm(face.places - centre, axis=1) < 2.2 * radius))
    if not len(near) or not motion.count:
        return None
    inside = np.zeros(face.head.n_vertices, dtype=bool)
    inside[near] = True
    triangles = face.anatomy.pieces.skin_triangles
    triangles = triangles[inside[triangles].all(axis=1)]
    local = np.full(face.head.n_vertices, -1)
    local[near] = np.arange(len(near))
    met: list[Floats] = []
    for i in range(motion.count):
        delta = motion.one(i, near)
        if float(np.linalg.norm(delta, axis=1).max()) < MOVES * size:
            continue
        at = face.head.neutral[near] + delta
        pairs = facing_pairs(at, _normals(at, local[triangles]), np.arange(len(near)), MEETS * size)
        a, b = near[pairs.a], near[pairs.b]
        closed = np.linalg.norm(face.places[a] - face.places[b], axis=1) > pairs.apart + APART * size
        if int(closed.sum()) > 6:
            met.append((face.places[a[closed]] + face.places[b[closed]]) / 2.0)
    if not met:
        return None
    every = np.concatenate(met)
    return every[np.argmin(sign * every[:, 0])]


def _normals(points: Floats, triangles: NDArray) -> Floats:
    corners = points[triangles]
    face = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = np.stack(
        [np.bincount(triangles.ravel(), np.repeat(face[:, k], 3), minlength=len(points)) for k in range(3)], axis=1
    )
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def _round_outer(face: Face, margin: Floats, inner: Floats, outer: Floats, sign: int) -> Floats | None:
    """The most lateral vertex of the way along the skin from the upper to the lower margin near the outer corner."""
    width = abs(float(outer[0] - inner[0]))
    skin = np.flatnonzero(face.skin)
    tree = cKDTree(face.places[skin])
    ends = []
    for above in (True, False):
        line = margin[(margin[:, 1] > (inner[1] + outer[1]) / 2.0) == above]
        if not len(line):
            return None
        chosen = line[np.argmin(np.abs(np.abs(line[:, 0] - outer[0]) - 0.14 * width))]
        ends.append(int(skin[tree.query(chosen)[1]]))
    if ends[0] == ends[1]:
        return None
    far, before = dijkstra(face.graph, indices=ends[0], limit=width, return_predecessors=True)
    if not np.isfinite(far[ends[1]]):
        return None
    way = [ends[1]]
    while way[-1] != ends[0]:
        way.append(int(before[way[-1]]))
    place = face.places[max(way, key=lambda vertex: sign * face.places[vertex, 0])]
    return place if np.linalg.norm(place - outer) < 0.25 * width else None
