"""Does a sculpt show a cavity of the library? Where it does, the cage follows it; where it does not, nothing may pull
the cavity's walls to the outside.

A deep vertex of a cavity is answered where the closest place of the sculpt looks the same way and is itself hidden. A
sculpt without nostrils answers none: the closest places of their walls are the wings of the nose, which all can see.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.hollows.visibility import visibility

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME_WAY = 0.35
"""Cosine between the normals of a vertex and of its closest place above which both look the same way (our choice: 70
degrees, as in projection)."""
HIDDEN = 0.2
"""Visibility below which a place of the sculpt is hidden (our choice)."""
ALIKE = 1.5
"""A place of the sculpt also counts as hidden up to this many times the library's visibility there (our choice)."""
RAYS = 64
"""Directions in which a place of the sculpt looks (our choice)."""
ENOUGH = 0.5
"""Share of a cavity's deep vertices that a sculpt must answer to show it. On five sculpts it was .62 or more where it
was there and .25 or less where it was not."""


@dataclass(frozen=True, eq=False)
class Cavity:
    """A cavity of the library's skin on a sculpt: its `flags` (s,) among the skin's vertices, the `place` of the face
    that it belongs to, and the `share` in [0, 1] of its deep vertices that the sculpt answers."""

    flags: Flags
    place: str
    share: float

    @property
    def shown(self) -> bool:
        """Whether the sculpt has this cavity, so that the cage follows it."""
        return self.share >= ENOUGH

    @property
    def words(self) -> str:
        """What is done with it, in a sentence."""
        what = {"nose": "A nostril", "ears": "An ear's hollow"}.get(self.place, f"A hollow ({self.place})")
        if self.shown:
            return f"{what} of {int(self.flags.sum()):,} vertices follows the sculpt's own."
        return f"{what} of {int(self.flags.sum()):,} vertices keeps the library's form: the sculpt does not show it."


def shown_share(sculpt: ClosestSurface, places: Rows, normals: Rows, known: Rows) -> float:
    """The share in [0, 1] of a cavity's deep vertices, at `places` (k, 3) mm on the bent cage with unit `normals` (k,
    3), that the sculpt answers; 0 where there are none. `known` (k,) is their visibility on the library: a shallow
    cavity is answered by a shallow one."""
    if not len(places):
        return 0.0
    found = sculpt.closest(places)
    same = (found.normal * normals).sum(axis=1) > SAME_WAY
    hidden = np.zeros(len(places), dtype=bool)
    hidden[same] = (
        visibility(sculpt.rays, found.points[same], found.normal[same], sculpt.diagonal, RAYS)
        < np.maximum(HIDDEN, ALIKE * known[same])
    )
    return float((same & hidden).mean())
