"""A match in pictures: the target and the pose that was found, the residual as heat on both."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.picture.heat import Scale, movement, nice
from composer.picture.render import Studio
from composer.picture.sheet import Entry, Sheet, contact_sheet

LEAST_MM = 0.01
"""The scale of heat ends here at least, so that rounding does not look like a residual (our choice)."""


def match_sheet(head: Head, target: NDArray, left: NDArray, name: str) -> Sheet:
    """A sheet of two pictures; `target` (n, 3) mm, `left` (n, 3) mm the target less the pose."""
    away = movement(np.zeros_like(left), left)
    scale = Scale("residual", "mm", 0.0, nice(max(float(away.max(initial=0.0)), LEAST_MM)))
    colours = scale.colours(away)
    entries = [Entry(name, target, "the target", colours), Entry("matched", target - left, "the recipe", colours)]
    return contact_sheet(Studio.of(head), entries, title=name, view="three_quarter", legend=scale)
