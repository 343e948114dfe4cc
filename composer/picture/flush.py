"""Where blood shows through the skin: where the head is thin, as at ears, nostrils and lips, and at the rims of lids.

Nothing is known by a name. How thin a place is, is found by rays that run inwards: the shape diameter function
(Shapira, Shamir and Cohen-Or, Consistent mesh partitioning and skeletonisation using the shape diameter function, The
Visual Computer 24, 2008), with a cone of 2 x 50 degrees. A lid's rim is skin that lies next to an eyeball.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.picture.colour import rgb
from composer.picture.eyeball import Eyeball
from composer.picture.rays import Rays, sphere_points

Floats = NDArray[np.float64]
FLUSHED = rgb(200, 122, 106)
"""The colour of skin with all the blood behind it that this file knows of (our choice, by eye)."""
THIN = 0.030
"""Of the head's diagonal: what is thicker shows no blood (our choice; 10 mm on a head of 330)."""
MOST_THIN, MOST_RIM = 0.50, 0.62
"""The most that thin places and lids' rims take of `FLUSHED` (our choice, by eye)."""
RIM, LID = (0.035, 0.10), (0.10, 0.42)
"""Of an eyeball's radius, from its surface: from where to where a lid's rim, and the lid, lose their red."""
LID_SHARE = 0.42
"""The lid's red, of its rim's."""
WET_RIM = 0.14
"""Sheen of a lid's rim, which is wet (our choice)."""
MOST_VERTICES = 300_000
"""With more vertices thin places are not looked for: seconds of rays for a faint red (our choice)."""
_CONE, _RAYS = 50.0, 10
_SETTLED = 3


def thin(positions: Floats, normals: Floats, rays: Rays, chosen: NDArray, reach_mm: float) -> Floats:
    """(len(chosen),) in [0, 1], 1 for skin without thickness, 0 from `reach_mm` on: the mean over rays inwards.

    `positions` and unit `normals` (n, 3) are of the surface that `rays` meet.
    """
    inward = -normals[chosen]
    aside = np.where(np.abs(inward[:, :1]) < 0.9, np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    across = np.cross(inward, aside)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
    along = np.cross(inward, across)
    start = positions[chosen] + inward * (0.02 * reach_mm)
    total = np.zeros(len(chosen))
    for x, y, z in _cone():
        met = rays.first(start, x * across + y * along + z * inward, reach_mm / z)
        away = np.where(met.triangle >= 0, met.distance * z, reach_mm)
        total += 1.0 - np.clip(away / reach_mm, 0.0, 1.0)
    return total / _RAYS


def _cone() -> Floats:
    """(_RAYS, 3) directions spread evenly over the cone about z."""
    spread = sphere_points(_RAYS)
    z = 1.0 - (1.0 - spread[:, 2:]) * 0.5 * (1.0 - np.cos(np.radians(_CONE)))
    flat = spread[:, :2] / np.linalg.norm(spread[:, :2], axis=1, keepdims=True)
    return np.concatenate([flat * np.sqrt(1.0 - z * z), z], axis=1)


def settled(polygons: Polygons, amount: Floats) -> Floats:
    """(n,) an amount averaged with the neighbours', so that no vertex stands out by itself."""
    count = np.maximum(polygons.valence, 1)
    for _ in range(_SETTLED):
        amount = 0.5 * amount + 0.5 * (polygons.adjacency @ amount) / count
    return amount


def lid_rims(neutral: Floats, balls: Sequence[Eyeball]) -> tuple[Floats, Floats]:
    """(n,) each in [0, 1]: how much a place is a lid's rim, and how much it is lid, by its distance from an eyeball."""
    rim, lid = np.zeros(len(neutral)), np.zeros(len(neutral))
    for ball in balls:
        away = np.linalg.norm(neutral - ball.centre, axis=1) / max(ball.radius, 1e-9) - 1.0
        for amount, (low, high) in ((rim, RIM), (lid, LID)):
            t = np.clip((high - away) / (high - low), 0.0, 1.0)
            np.maximum(amount, t * t * (3.0 - 2.0 * t), out=amount)
    return rim, lid


def flushed(
    albedo: Floats, sheen: Floats, skin: NDArray, thinness: Floats, neutral: Floats, balls: Sequence[Eyeball]
) -> tuple[Floats, Floats]:
    """Albedo (n, 3) and sheen (n,) with the blood that shows through the `skin` (n,) at rest, `neutral` (n, 3) mm.

    `thinness` (n,) is as `thin` finds it; zeros where it is not known.
    """
    rim, lid = lid_rims(neutral, balls)
    red = np.maximum(MOST_THIN * thinness, MOST_RIM * np.maximum(rim, LID_SHARE * lid)) * skin
    return (
        albedo + red[:, None] * (np.minimum(FLUSHED, albedo) - albedo),
        np.maximum(sheen, sheen + (rim * skin) * (WET_RIM - sheen)),
    )
