"""Spots on a head: soft round masks about a place of its skin, from landmarks where there are any."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.head.places import SurfacePoint
from masks.spot import SpotGround

Floats = NDArray[np.float64]
KEPT = 4
"""Distances kept for the places asked last: a press asks for several radii about one place. A design choice, no
source."""


class SpotsOfHead:
    """The ground of spots on one head, and the distances about the places asked last."""

    def __init__(self, head: Head) -> None:
        self.skin, self.landmarks = head.skin, head.landmarks
        self.ground = SpotGround(head.surface, head.skin, _curves(head))
        self._known: list[tuple[SurfacePoint, float, Floats]] = []

    def serves(self, head: Head) -> bool:
        """Whether a head of the same surface has the same skin and landmarks."""
        return np.array_equal(self.skin, head.skin) and self.landmarks == head.landmarks

    def mask(self, place: SurfacePoint, radius_mm: float, reach_mm: float = 0.0) -> Floats:
        """(n,) the spot about a place. With a `reach_mm` above the radius, distances are computed that far, so that
        larger spots about the place cost little afterwards."""
        for known, limit, away in self._known:
            if known == place and limit >= radius_mm:
                return self.ground.mask(away, radius_mm)
        limit = max(radius_mm, reach_mm)
        away = self.ground.distance(place.triangle, place.bary, limit)
        self._known = [*self._known[1 - KEPT :], (place, limit, away)]
        return self.ground.mask(away, radius_mm)


def spot_on(head: Head, place: SurfacePoint, radius_mm: float, reach_mm: float = 0.0) -> Floats:
    """(n,) in [0, 1], the spot of a radius above 0 mm about a place of a head, as in `SpotsOfHead.mask`.

    Raises MoueError for a radius that is not above 0.
    """
    return _spots_of(head).mask(place, radius_mm, reach_mm)


def ground_of(head: Head) -> SpotGround:
    """The skin of a head with its rims, prepared once: where distances along the skin end."""
    return _spots_of(head).ground


def _spots_of(head: Head) -> SpotsOfHead:
    kept: list[SpotsOfHead] = vars(head.surface).setdefault("spots", [])
    if not kept or not kept[0].serves(head):
        kept[:] = [SpotsOfHead(head)]
    return kept[0]


def _curves(head: Head) -> dict[str, NDArray[np.int64]]:
    """The head's landmark curves as vertices (k,); places between vertices take the nearest vertex."""
    if not head.landmarks:
        return {}
    from scipy.spatial import cKDTree

    curves: dict[str, NDArray[np.int64]] = {}
    for name, curve in head.landmarks.curves.items():
        if not isinstance(curve, np.ndarray):
            curve = cKDTree(head.neutral).query(head.landmarks.curve_positions(name, head.neutral))[1]
        line = np.asarray(curve, dtype=np.int64)
        curves[name] = line[np.insert(np.diff(line) != 0, 0, True)]
    return curves
