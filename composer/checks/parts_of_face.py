"""The parts of a face that the checks look at, told by what they are and not by what they are called."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.checks.subject import HeadFacts
from composer.geometry.vectors import dot, lengths
from composer.head.head import Part
from composer.head.understand.part_words import what_parts_are

MARGINS = ("upper_lid", "lower_lid")
SIDES = ("left", "right")
_ABOUT = 2.0  # of the ball's radius: the middle of a lid's margin lies this near to the ball's centre
_OUTER = 0.0  # cosine with the direction away from the ball: skin that faces the ball is its socket, or a lid's inside


def parts_that_are(facts: HeadFacts, kinds: Collection[str]) -> list[Part]:
    """The parts of a head that are of these kinds (`part_words.WORDS`) and have vertices."""
    told = facts.kept("what parts are", facts.head, lambda: what_parts_are(facts.head))
    return [part for part in facts.head.parts if told.get(part.name, "") in kinds]


def eyeballs(facts: HeadFacts) -> list[Part]:
    """The parts that are eyeballs."""
    return parts_that_are(facts, ("eye",))


@dataclass(frozen=True, eq=False)
class Lids:
    """What lies about one eyeball at rest: the ball's `centre` (3,) and `radius` mm, the `margin` of its lids (k,),
    None where it is not marked, and whether a vertex is `outer` skin (n,), which turns away from the ball: not the
    socket, nor the inside of a lid, which touches the ball in most heads and is not seen.
    """

    centre: NDArray[np.float64]
    radius: float
    margin: NDArray[np.int32] | None
    outer: NDArray[np.bool_]


def lids_of(facts: HeadFacts, ball: Part) -> Lids:
    """The lids about an eyeball; kept with the facts."""
    return facts.kept(("lids of", ball.name), facts.head, lambda: _lids(facts, ball))


def _lids(facts: HeadFacts, ball: Part) -> Lids:
    head = facts.head
    points = head.neutral[ball.vertices]
    centre = points.mean(axis=0)
    radius = float(lengths(points - centre).max())
    margin = _margin(facts, centre, radius)
    off = head.neutral - centre
    outward = np.zeros((head.n_vertices, 3))
    np.add.at(outward, head.polygons.indices, facts.rest_areas[head.polygons.corner_face])
    turned = dot(outward, off) >= _OUTER * lengths(outward) * lengths(off)
    return Lids(centre, radius, margin, head.skin & turned)


def _margin(facts: HeadFacts, centre: NDArray, radius: float) -> NDArray[np.int32] | None:
    """The margins of both lids about a ball, None where one of them is not marked."""
    found = []
    for name in MARGINS:
        curves = [curve for side in SIDES if (curve := facts.curve(f"{name}_{side}")) is not None]
        away = [float(np.linalg.norm(facts.head.neutral[curve].mean(axis=0) - centre)) for curve in curves]
        if not away or min(away) > _ABOUT * radius:
            return None
        found.append(curves[int(np.argmin(away))])
    return np.unique(np.concatenate(found)).astype(np.int32)


def skin_near(facts: HeadFacts, vertices: NDArray, reach_mm: float) -> NDArray[np.int64]:
    """(k,) which of the skin's `facts.triangles` lie within `reach_mm` of the box about some vertices at rest."""
    places = facts.head.neutral[vertices]
    low, high = places.min(axis=0) - reach_mm, places.max(axis=0) + reach_mm
    near = ((facts.head.neutral >= low) & (facts.head.neutral <= high)).all(axis=1)
    return np.flatnonzero(near[facts.triangles].any(axis=1))
