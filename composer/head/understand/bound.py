"""Which place of the skin each vertex of a lash, a brow or a sheet goes with.

Near lids that almost meet the nearest place may lie on the wrong lid. Among the places nearly as near, the one whose
motion over all shapes the vertex shares best is taken. A vertex that touches nothing, such as a lash's tip, goes with
the root of its own piece that is nearest to it, and so does one that lies on the skin and slides over it in some shape
while others of its piece stay in their places: a lash that leans on the lid beside it grows elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.closest import ClosestPoints
from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.head.head import Shape

Floats = NDArray[np.float64]
CANDIDATES = 12
"""Triangles that are looked at for each vertex, by their middles."""
TOLERANCE = 1.2e-3
"""Of the skin's size: places no further off than the nearest and this much are as near."""
ROOT = 0.02
"""Of a piece's longest side: what is no further from the skin than its nearest vertex and this much is a root."""

STAYS = 2.0
"""A root stays in its place where it strays at most so many times as far as the one of its piece that strays least, and
the tolerance. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Bound:
    """For k vertices the skin corners (k, 3) and weights (k, 3) of the place each goes with, how far away that was at
    rest (k,) mm, how far from its motion the vertex strays at most (k,) mm, whether it is a root (k,), and whether one
    that stays in its place (k,).
    """

    corners: NDArray[np.int32]
    bary: Floats
    away: Floats
    strays: Floats
    root: NDArray[np.bool_]
    grows: NDArray[np.bool_]


def triangles_about(neutral: Floats, triangles: NDArray, points: Floats, more: float = 0.0) -> NDArray:
    """Those of the triangles (t, 3) that can hold the place nearest to one of `points` (k, 3), or one `more` mm further
    off. No place is further off than the nearest vertex, so they reach into the points' box, that much wider.
    """
    known = np.unique(triangles)
    margin = float(cKDTree(neutral[known]).query(points)[0].max(initial=0.0)) + more
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    corners = neutral[triangles]
    near = ((corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)).all(axis=1)
    return triangles[near] if near.any() else triangles


def places_near(
    neutral: Floats, triangles: NDArray, points: Floats
) -> tuple[NDArray[np.int32], Floats, Floats]:  # fmt: skip
    """The triangles (k, c, 3) about each of `points` (k, 3), the weights (k, c, 3) of the nearest place in each, and
    how far away it is (k, c) mm.
    """
    corners = neutral[triangles]
    count = min(CANDIDATES, len(triangles)) + 1
    near = np.empty((len(points), count), dtype=np.int64)
    near[:, 0] = ClosestPoints(neutral, triangles)(points).triangle  # long triangles have their middles far off
    near[:, 1:] = cKDTree(corners.mean(axis=1)).query(points, k=count - 1)[1].reshape(len(points), count - 1)
    flat = near.ravel()
    bary, squared = closest_on_triangles(np.repeat(points, count, axis=0), corners[flat])
    shape = (len(points), count)
    return triangles[near].astype(np.int32), bary.reshape(*shape, 3), np.sqrt(squared).reshape(shape)


def bound_to_skin(
    neutral: Floats,
    skin_triangles: NDArray,
    shapes: tuple[Shape, ...],
    vertices: NDArray,
    piece: NDArray,
    size: float,
) -> Bound:
    """Where on the skin `vertices` (k,) of the pieces `piece` (k,) belong. `size` mm is the skin's box diagonal."""
    about = triangles_about(neutral, skin_triangles, neutral[vertices], TOLERANCE * size)
    corners, bary, away = places_near(neutral, about, neutral[vertices])
    row, column = np.nonzero(away <= away.min(axis=1, keepdims=True) + TOLERANCE * size)
    at, weight, own = corners[row, column], bary[row, column], vertices[row]
    squared = np.zeros(len(row))
    for shape in shapes:
        if shape.delta[vertices].any() or shape.delta[corners[:, 0]].any():
            off = np.einsum("pi,pix->px", weight, shape.delta[at]) - shape.delta[own]
            np.maximum(squared, np.einsum("px,px->p", off, off), out=squared)
    rank = np.full(away.shape, np.inf)
    rank[row, column] = np.sqrt(squared) + 1e-3 * away[row, column]
    strays = np.zeros(away.shape)
    strays[row, column] = np.sqrt(squared)
    every, best = np.arange(len(vertices)), np.argmin(rank, axis=1)
    corners, bary, away, strays = (each[every, best].copy() for each in (corners, bary, away, strays))
    root, grows = np.zeros(len(vertices), dtype=bool), np.zeros(len(vertices), dtype=bool)
    for each in np.unique(piece):
        own = np.flatnonzero(piece == each)
        points = neutral[vertices[own]]
        side = float(np.ptp(points, axis=0).max())
        roots = away[own] <= max(away[own].min() + ROOT * side, 0.25 * TOLERANCE * size)
        root[own[roots]] = True
        stays = roots & (strays[own] <= STAYS * strays[own[roots]].min() + TOLERANCE * size)
        grows[own[stays]] = True
        tips = own[~stays]
        if len(tips):
            follow = own[stays][cKDTree(points[stays]).query(points[~stays])[1]]
            corners[tips], bary[tips] = corners[follow], bary[follow]
    return Bound(corners, bary, away, strays, root, grows)
