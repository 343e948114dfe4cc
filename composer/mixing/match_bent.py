"""Shapes that do not go straight, beside their straight line: what a match of many frames begins with.

A shape that turns about a hinge, or has in-betweens, moves by w D + b(w) E: D is the whole shape, and E what it does at
half its weight beyond half of D, with b(w) from 0 over 1 at a half to 0 again. With E as a column of its own weights
are found where the frames bend; without it other shapes would make up for the bend, and once they had, poses about them
would fit as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import replace

import numpy as np

from composer.head.head import Shape
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Cell

LEAST = 1e-6
"""A bend below this share of the head's diagonal is none (our choice)."""


def with_bends(mixer: Mixer, shapes: Sequence[str]) -> tuple[Mixer, dict[str, str]]:
    """The mixer with a further shape (n, 3) mm for the bend of each of `shapes` that has one; and by their names, which
    no shape of the head has, those of the shapes that bend. It serves columns only."""
    bends, owners = [], {}
    for name in shapes:
        if name not in mixer.hinges and not mixer.head.shape(name).inbetweens:
            continue
        motion = mixer.motion(Cell(ALL, name, 1.0))
        bend = (motion.at(0.5) - 0.5 * motion.at(1.0)).astype(np.float32)
        if float(np.abs(bend).max(initial=0.0)) > LEAST * mixer.head.diagonal:
            bends.append(Shape(_free(f"{name} bend", mixer.head.shape_index), bend))
            owners[bends[-1].name] = name
    if not bends:
        return mixer, {}
    _ = mixer.masks  # made once, for both
    other = copy(mixer)
    other.head = replace(mixer.head, shapes=(*mixer.head.shapes, *bends))
    return other, owners


def _free(name: str, taken: object) -> str:
    while name in taken:  # type: ignore[operator]
        name += "_"
    return name
