"""Parts that hide what they should let through when they are drawn without their textures.

Clear sheets over an eye (tears, a shade over the ball) and lash cards, which carry their lashes as a picture: drawn
solid they are dark slabs over lids and balls, so pictures leave them out and say so. Lashes made of strands are drawn.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Part

CARD = 0.4
"""Of the longest side of a part of lashes: a piece that is longer is a card and no strand."""


def is_sheet(name: str) -> bool:
    """Whether a part's name says that it is a clear sheet over the eye, such as tears."""
    low = name.lower()
    return "sheet" in low.split("_") or low.startswith("tear")


def veils_of(parts: Sequence[Part], polygons: Polygons, neutral: NDArray) -> frozenset[str]:
    """Names of the parts that pictures leave out, `neutral` (n, 3) mm."""
    return frozenset(
        part.name for part in parts
        if is_sheet(part.name) or ("lash" in part.name.lower() and _of_cards(part, polygons, neutral))
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

