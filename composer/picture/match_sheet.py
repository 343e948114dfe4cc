"""A match in pictures: the target and the matched pose, with the residual as heat on both."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.picture.heat import Scale, movement, nice
from composer.picture.render import Studio
from composer.picture.sheet import Entry, Sheet, contact_sheet

LEAST_MM = 0.01
"""Least end of the heat scale, mm (our choice): rounding does not look like a residual."""


def match_sheet(head: Head, target: NDArray, residual: NDArray, name: str) -> Sheet:
    """A sheet of two pictures; `target` (n, 3) mm, `residual` (n, 3) mm, the target minus the matched pose."""
    away = movement(np.zeros_like(residual), residual)
    scale = Scale("residual", "mm", 0.0, nice(max(float(away.max(initial=0.0)), LEAST_MM)))
    colours = scale.colours(away)
    entries = [Entry(name, target, "the target", colours), Entry("matched", target - residual, "the recipe", colours)]
    return contact_sheet(Studio.of(head), entries, title=name, view="three_quarter", legend=scale)
