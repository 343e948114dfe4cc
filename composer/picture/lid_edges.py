"""Where the lids stand before an eyeball, found by form: no name, no landmark, and in every pose.

Rays from the ball's middle say at rest where skin begins above and below the gap; the places on the skin where it does
are kept, and a pose moves them. Heights are those of a stereographic projection from behind the ball along z: 1 is two
radii, near the middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Part
from composer.head.landmarks import Landmarks
from composer.picture.camera import unit
from composer.picture.eyeball import Eyeball
from composer.picture.rays import Rays

Floats = NDArray[np.float64]
PLACES = np.linspace(-0.75, 0.75, 32)
"""Where along x the lids' heights are known."""
NO_LIDS = (9.0, -9.0)
"""Heights of the upper and the lower lid of an eye without lids."""
FROM, TO = 0.9, 1.08
"""Radii between which skin before the ball is the edge of a lid that lies on it (our choice)."""
_ROWS = np.linspace(-0.85, 0.85, 69)
_STEP = float(PLACES[1] - PLACES[0])
_HALVINGS = 5
_LEAST = 4


@dataclass(frozen=True, eq=False)
class Lid:
    """Places along a lid's edge: weights `bary` (k, 3) of vertices `corners` (k, 3)."""

    corners: NDArray[np.int64]
    bary: Floats

    def at(self, positions: NDArray) -> Floats:
        """(k, 3) where they are in a pose (n, 3)."""
        return np.asarray(np.einsum("kc,kcx->kx", self.bary, np.asarray(positions, dtype=np.float64)[self.corners]))


Lids = tuple[Lid, Lid] | None
"""The upper and the lower lid of an eye; None for an eye whose lids are not known."""


def skin_triangles(polygons: Polygons, parts: Sequence[Part]) -> NDArray:
    """(t, 3) the triangles of what is no part."""
    skin = np.ones(polygons.n_vertices, dtype=bool)
    for part in parts:
        skin[part.vertices] = False
    return polygons.triangles[skin[polygons.triangles].all(axis=1)]


def lids_of(ball: Eyeball, neutral: Floats, skin_triangles: NDArray, landmarks: Landmarks | None = None) -> Lids:
    """The lids before a ball, from `neutral` (n, 3) mm and the triangles (t, 3) of the skin; where it is shut at rest,
    the lid curves among the landmarks, and None where there are none."""
    away = np.linalg.norm(neutral - ball.centre, axis=1)
    near = skin_triangles[(away[skin_triangles] < 2.0 * ball.radius).all(axis=1)]
    if not len(near):
        return None
    used, corners = np.unique(near, return_inverse=True)
    found = _by_rays(ball, Rays(neutral[used], corners.reshape(near.shape)), near)
    return found or _by_curves(ball, neutral, landmarks)


def heights(lids: Lids, positions: NDArray, centre: NDArray) -> Floats:
    """(32, 2) how high the upper and the lower lid stand at `PLACES` in a pose (n, 3) mm, about `centre` (3,)."""
    out = np.tile(NO_LIDS, (len(PLACES), 1))
    beyond = np.zeros(len(PLACES), dtype=bool)
    for side, lid in enumerate(lids or ()):
        seen = unit(lid.at(positions) - centre)
        flat = seen[:, :2] / (1.0 + np.maximum(seen[:, 2:], -0.5))
        order = np.argsort(flat[:, 0])
        out[:, side] = np.interp(PLACES, flat[order, 0], flat[order, 1])
        beyond |= (flat[order[0], 0] - _STEP > PLACES) | (flat[order[-1], 0] + _STEP < PLACES)
    if lids is not None:  # beyond the corners there is no gap
        out[beyond] = out[beyond].mean(axis=1, keepdims=True)
    return out


def _by_rays(ball: Eyeball, rays: Rays, triangles: NDArray) -> Lids:
    x, y = (each.ravel() for each in np.meshgrid(PLACES, _ROWS, indexing="ij"))
    shut = (_met(ball, rays, x, y)[0] >= 0).reshape(len(PLACES), len(_ROWS))
    edges: tuple[list[int], list[float], list[float]] = ([], [], [])  # columns, last free, first shut; upper then lower
    lower: tuple[list[float], list[float]] = ([], [])
    middle = int(np.argmin(np.abs(_ROWS)))
    for column, blocked in enumerate(shut):
        free = np.flatnonzero(~blocked)
        if not len(free):
            continue
        begin = int(free[np.argmin(np.abs(free - middle))])
        above, below = np.flatnonzero(blocked[begin:]), np.flatnonzero(blocked[:begin])
        if len(above) and len(below):
            edges[0].append(column)
            edges[1].append(_ROWS[begin + above[0] - 1])
            edges[2].append(_ROWS[begin + above[0]])
            lower[0].append(_ROWS[below[-1] + 1])
            lower[1].append(_ROWS[below[-1]])
    if len(edges[0]) < _LEAST:
        return None
    columns = PLACES[np.array(edges[0])]
    upper_lid = _edge(ball, rays, triangles, columns, np.array(edges[1]), np.array(edges[2]))
    return upper_lid, _edge(ball, rays, triangles, columns, np.array(lower[0]), np.array(lower[1]))


def _edge(ball: Eyeball, rays: Rays, triangles: NDArray, x: Floats, free: Floats, shut: Floats) -> Lid:
    """The skin's places at the edges that lie between rows that are `free` and `shut` (k,)."""
    for _ in range(_HALVINGS):
        half = 0.5 * (free + shut)
        blocked = _met(ball, rays, x, half)[0] >= 0
        free, shut = np.where(blocked, free, half), np.where(blocked, half, shut)
    triangle, u, v = _met(ball, rays, x, shut)
    return Lid(triangles[triangle].astype(np.int64), np.stack([1.0 - u - v, u, v], axis=1).astype(np.float64))


def _met(ball: Eyeball, rays: Rays, x: Floats, y: Floats) -> tuple[NDArray, NDArray, NDArray]:
    """The triangles (k,) met outwards from places of the ball, -1 for none, and where in them."""
    square = x * x + y * y
    out = np.stack([2.0 * x, 2.0 * y, 1.0 - square], axis=1) / (1.0 + square)[:, None]
    hits = rays.first(ball.centre + FROM * ball.radius * out, out)
    met = (hits.triangle >= 0) & (hits.distance < (TO - FROM) * ball.radius)
    return np.where(met, hits.triangle, -1), hits.u, hits.v


def _by_curves(ball: Eyeball, neutral: Floats, landmarks: Landmarks | None) -> Lids:
    """The lid curves nearest to a ball, within three radii of its middle."""
    out: list[Lid] = []
    for word in ("upper_lid", "lower_lid"):
        nearest = 3.0 * ball.radius
        best: NDArray | None = None
        for name, curve in (landmarks.curves if landmarks else {}).items():
            if name.startswith(word) and isinstance(curve, np.ndarray) and len(curve) > 2:
                away = float(np.linalg.norm(neutral[curve].mean(axis=0) - ball.centre))
                if away < nearest:
                    best, nearest = curve, away
        if best is not None:
            out.append(Lid(np.repeat(best[:, None], 3, axis=1), np.tile([1.0, 0.0, 0.0], (len(best), 1))))
    return (out[0], out[1]) if len(out) == 2 else None
