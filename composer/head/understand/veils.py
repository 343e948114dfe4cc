"""Parts that hide what they should let through when they are drawn without their textures.

Clear sheets over an eye (tears, a shade over the ball) and lash cards, which carry their lashes as a picture: drawn
solid they are dark slabs over lids and balls, so pictures leave them out and say so. Lashes made of strands are drawn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.coarse_head import seen_coarse
from composer.head.head import Head, Part
from composer.head.understand.part_words import what_parts_are

CARD = 0.4
"""Of the longest side of a part of lashes: a piece that is longer is a card and no strand."""
SHEETS = ("lid_sheet", "ball_sheet", "tear")


def veils_of(head: Head) -> frozenset[str]:
    """Names of the parts of a head that pictures leave out."""
    if not head.parts:
        return frozenset()
    head = seen_coarse(head)
    return veils_among(head.parts, head.polygons, head.neutral, what_parts_are(head))


def veils_among(
    parts: Sequence[Part], polygons: Polygons, neutral: NDArray, are: Mapping[str, str]
) -> frozenset[str]:
    """The same from what each part is, by its name (`what_parts_are`); `neutral` (n, 3) mm."""
    return frozenset(
        part.name for part in parts
        if are.get(part.name) in SHEETS or (are.get(part.name) == "lashes" and _of_cards(part, polygons, neutral))
    )  # fmt: skip


def veil_note(names: Sequence[str] | frozenset[str]) -> str:
    """A sentence on the parts that are left out, "" where none is."""
    if not names:
        return ""
    return f"Pictures leave out {', '.join(sorted(names))}: without textures they would cover lids and eyes."


def _of_cards(part: Part, polygons: Polygons, neutral: NDArray) -> bool:
    if not len(part.vertices):
        return False
    points = neutral[part.vertices]
    whole = float(np.ptp(points, axis=0).max())
    piece = polygons.components[part.vertices]
    longest = max(float(np.ptp(points[piece == each], axis=0).max()) for each in np.unique(piece))
    return longest > CARD * whole

