"""A spot: a soft round mask about a place of the skin, 1 there and 0 from its radius on.

Between them the mask is a smoothstep of the distance along the surface. No front crosses the rim of the mouth or of an
eye socket, so the way from one lip to the other leads round the corner of the mouth; behind a rim the mask goes on
from the rim and fades within one radius.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface
from masks.face_hollows import HOLLOWS, find_hollows
from masks.soften import smoothstep

MOUTH, LINES = HOLLOWS[0], ("lip_line_upper", "lip_line_lower")


class SpotGround:
    """The skin on which spots lie, prepared once: where fronts end and what lies behind."""

    def __init__(self, surface: Surface, skin: ArrayLike, curves: Mapping[str, NDArray[np.int64]]) -> None:
        """`skin` (n,) flags; `curves` {name: vertices (k,)} may hold the rims of the mouth and the sockets, or the
        lines of the lips, which serve where the mouth has no rim. Raises MoueError where `skin` does not fit."""
        self.surface = surface
        flags = np.asarray(skin, dtype=bool)
        if flags.shape != (surface.n_vertices,):
            raise MoueError(f"{flags.size} flags of skin on a mesh of {surface.n_vertices} vertices")
        rims = dict(curves)
        if MOUTH not in rims and all(line in rims for line in LINES):
            upper, lower = (np.asarray(rims[line], dtype=np.int64) for line in LINES)
            rims[MOUTH] = np.concatenate([upper, lower[::-1]])
        self.hollows = find_hollows(surface, rims, [])
        self.skin = flags
        self.marching = Marching(surface, self.hollows.rims | self.hollows.inside | ~flags)
        self.behind = Marching(surface, ~flags)

    def distance(self, corners: ArrayLike, bary: ArrayLike, limit_mm: float) -> Floats:
        """(n,) mm along the skin from the place with weights `bary` (c,) on the vertices `corners` (c,) of a polygon;
        inf beyond `limit_mm`, behind a rim and off the skin. From a place behind a rim all of the skin is reached."""
        corners = np.asarray(corners, dtype=np.int64)
        point = np.asarray(bary, dtype=np.float64) @ self.surface.positions[corners]
        marching = self.marching
        free = corners[~marching.blocked[corners]]
        if not len(free) and not self.hollows.inside[corners].any():  # all on a rim: from the skin beside it
            around = self.surface.polygons.adjacency[corners].indices
            free = np.unique(around[~marching.blocked[around]])
        if not len(free):
            marching, free = self.behind, corners[self.skin[corners]]
        away = np.full(self.surface.n_vertices, np.inf)
        if len(free):
            reached, far = marching.from_point(free, point, limit_mm)
            away[reached] = far
        away[corners] = np.minimum(away[corners], np.linalg.norm(self.surface.positions[corners] - point, axis=1))
        return away

    def mask(self, away: Floats, radius_mm: float) -> Floats:
        """(n,) the spot of a radius above 0 from the distances (n,) of `distance`.

        >>> from composer.geometry.polygons import Polygons
        >>> mesh = Polygons.from_faces([[0, 1, 3, 2], [2, 3, 5, 4]], 6)
        >>> strip = Surface(mesh, [[x, y, 0] for y in (0, 5, 10) for x in (0, 1)])
        >>> ground = SpotGround(strip, np.ones(6, bool), {})
        >>> ground.mask(ground.distance([0], [1.0], 10.0), 10.0)[[0, 2, 4]].round(3).tolist()
        [1.0, 0.5, 0.0]
        """
        if not radius_mm > 0:
            raise MoueError(f"a spot of radius {radius_mm:g} mm covers nothing", hint="give a radius above 0")
        weight = smoothstep(1.0 - np.minimum(away, radius_mm) / radius_mm)
        behind = np.isfinite(away) & self.hollows.inside
        filled = weight if behind.any() else self.hollows.filled(weight, radius_mm)
        return np.where(self.skin, filled, 0.0)


def spot(ground: SpotGround, corners: ArrayLike, bary: ArrayLike, radius_mm: float) -> Floats:
    """(n,) the spot about one place. Raises MoueError as `SpotGround.mask`."""
    return ground.mask(ground.distance(corners, bary, radius_mm), radius_mm)
