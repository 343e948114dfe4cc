"""How deep one surface runs into another, beyond what it does at rest: shared by lips, lids, teeth and tongue.

Broad phase: boxes in a grid. Narrow phase: exact tests of triangle against triangle (`self_intersection`). Depth:
how far a point lies behind the other surface, by the pseudonormal of the feature that is closest (`nearest`),
less how far the same point of the same triangle lies there at rest. Points are the vertices, and on triangles
that cross also their centres and the middles of their edges, because a triangle may cut through a round surface
with all three corners outside.

A depth is never larger than what moved: the way of the point against the place of the surface that it lies behind now.
Where layers lie close (an iris in its ball) the nearest one may change from rest to pose, and the difference of the
two depths alone would be the thickness between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.geometry.nearest import NearestSurface
from composer.geometry.vectors import lengths

Floats = NDArray[np.float64]
_INNER = np.array([[1, 1, 1], [1.5, 1.5, 0], [0, 1.5, 1.5], [1.5, 0, 1.5]]) / 3.0


@dataclass(frozen=True, eq=False)
class Sides:
    """A surface at rest and in the pose, and how far behind it still counts as behind, mm; infinite only where the
    surface is closed."""

    rest: NearestSurface
    now: NearestSurface
    deepest: float = np.inf


def added_depths(neutral: NDArray, pose: NDArray, vertices: NDArray, sides: Sides) -> Floats:
    """(k,) mm that `vertices` (k,) lie further behind the surface in the `pose` than in the `neutral` (n, 3)."""
    return _added(neutral[vertices], pose[vertices], sides)


def inner_depths(neutral: NDArray, pose: NDArray, triangles: NDArray, sides: Sides) -> Floats:
    """(t,) mm, the same for the worst of the centre and the edges' middles of each of `triangles` (t, 3)."""
    before, after = (np.einsum("sc,tcx->tsx", _INNER, each[triangles]).reshape(-1, 3) for each in (neutral, pose))
    return _added(before, after, sides).reshape(-1, len(_INNER)).max(axis=1, initial=0.0)


def spread(
    vertices: NDArray, depth: Floats, triangles: NDArray, inner: Floats
) -> tuple[NDArray[np.int32], Floats]:
    """The vertices (k,) with a depth above 0 and their depths: their own, and those of their triangles' insides."""
    every = np.concatenate([vertices, triangles.ravel()])
    amounts = np.concatenate([depth, np.repeat(inner, 3)])
    found, where = np.unique(every, return_inverse=True)
    worst = np.zeros(len(found))
    np.maximum.at(worst, where.ravel(), amounts)
    return found[worst > 0.0].astype(np.int32), worst[worst > 0.0]


def _added(before: Floats, after: Floats, sides: Sides) -> Floats:
    depth = _behind(sides.now, after, sides.deepest)
    on = np.flatnonzero(depth > 0.0)
    if len(on):
        more = np.maximum(depth[on] - _behind(sides.rest, before[on], sides.deepest, all_depths=True), 0.0)
        depth[on] = np.minimum(more, _way(before[on], after[on], sides))
    return depth


def _way(before: Floats, after: Floats, sides: Sides) -> Floats:
    """(k,) mm that points move against the place of the surface that they are nearest to in the pose."""
    moved = after - before
    if sides.now is not sides.rest:
        closest = sides.now(after)
        bary = closest_on_triangles(closest.points, sides.now.corners[closest.triangle])[0]
        moved -= closest.points - np.einsum("kc,kcx->kx", bary, sides.rest.corners[closest.triangle])
    return lengths(moved)


def _behind(surface: NearestSurface, points: Floats, deepest: float, all_depths: bool = False) -> Floats:
    """(k,) mm behind a surface, 0 before it, beyond its open border, and, unless `all_depths`, deeper than `deepest`.

    At rest all depths count: what lay 12 mm behind the skin and lies 10 behind it now came no deeper.
    """
    reach = deepest if np.isfinite(deepest) else 0.0  # without a limit the surface is closed: inside is within
    low, high = surface.corners.min(axis=(0, 1)) - reach, surface.corners.max(axis=(0, 1)) + reach
    depth = np.zeros(len(points))
    inside = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
    closest = surface(points[inside])
    behind = (closest.signed < 0.0) & ~closest.on_border & (all_depths | (closest.signed > -deepest))
    depth[inside] = np.where(behind, -closest.signed, 0.0)
    return depth
