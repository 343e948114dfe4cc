"""In-betweens: a shape that passes through stored displacements on its way, as OpenUSD's UsdSkel defines it.

A shape has the displacement 0 at weight 0, its own delta at weight 1, and each in-between's at its own weight. In
between, the displacement is piecewise linear. Beyond the outermost weights the first and the last piece continue
without bound (OpenUSD, UsdSkel, Blend Shape Schema, "In-betweens"). An in-between may lie outside [0, 1].
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from composer.errors import MoueError


def check_places(places: Sequence[float], shape: str) -> None:
    """Raises MoueError, with the shape's name, unless in-between weights are finite, distinct, not 0 and not 1.

    UsdSkel calls the contrary authoring errors.
    """
    for at in places:
        if not np.isfinite(at) or at in (0.0, 1.0):
            raise MoueError(f"shape {shape!r} has an in-between at {at:g}", hint="any weight but 0 and 1 will do")
    if len(set(places)) < len(places):
        twice = next(at for at in places if list(places).count(at) > 1)
        raise MoueError(f"shape {shape!r} has two in-betweens at {twice:g}", hint="remove one")


def coefficients(places: Sequence[float], weight: float) -> list[float]:
    """k + 1 amounts: of each in-between, in the order of `places` (k,), and last of the shape's own delta.

    At most two are not zero. The sum of amounts times displacements is the shape's displacement at `weight`. `places`
    need not be sorted.
    """
    weights = [*places, 1.0, 0.0]
    order = sorted(range(len(weights)), key=weights.__getitem__)
    piece = min(max(bisect_right(order, weight, key=weights.__getitem__) - 1, 0), len(order) - 2)
    before, after = order[piece], order[piece + 1]
    along = (weight - weights[before]) / (weights[after] - weights[before])
    amounts = [0.0] * len(weights)
    amounts[before], amounts[after] = 1.0 - along, along
    return amounts[:-1]
