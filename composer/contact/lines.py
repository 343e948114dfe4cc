"""Where a head's skin can meet itself: the pairs of landmark curves at which lips and lids close."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.head.head import Head

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Meeting:
    """Two lines of the skin that can meet: `name` in words, vertices of the skin (k,) of the `upper` and of the
    `lower` one, in order, whether they are `lids`, which slide on an eyeball, and how far the skin about them gives
    way, `about` of a line's length."""

    name: str
    upper: Ints
    lower: Ints
    lids: bool = False
    about: float = 0.26


CURVES = (
    ("the lips", "lip_line_upper", "lip_line_lower", False),
    ("the left lids", "upper_lid_left", "lower_lid_left", True),
    ("the right lids", "upper_lid_right", "lower_lid_right", True),
)
"""In words, the two landmark curves that meet, and whether they are lids."""
ABOUT_LIDS, ABOUT_LIPS = 0.26, 0.19
"""Of a line's length: how far the skin about lids and about lips gives way, 10 mm on an adult: the lid's fold, and the
red of the lips with its border. Further out, skin is where the carried shape puts it."""


def meetings(head: Head, number: NDArray) -> list[Meeting]:
    """The meetings of a head whose landmarks have both curves; `number` (n,) is each vertex's place in the skin, -1
    for what is none.
    """
    found = []
    for words, upper, lower, lids in CURVES:
        lines = [_line(head, name, number) for name in (upper, lower)]
        if all(len(line) > 1 for line in lines):
            found.append(Meeting(words, lines[0], lines[1], lids, ABOUT_LIDS if lids else ABOUT_LIPS))
    return found


def missing_curves(head: Head) -> list[str]:
    """The names of the curves that contact needs and a head has not."""
    known = head.landmarks.curves if head.landmarks is not None else {}
    return [name for _, upper, lower, _ in CURVES for name in (upper, lower) if name not in known]


def parts_nothing(head: Head) -> str:
    """A sentence where a head has no pair of curves that can meet, so that contact has nothing to part; else empty."""
    missing = set(missing_curves(head))
    if all(upper in missing or lower in missing for _, upper, lower, _ in CURVES):
        return "Contact parts nothing on this head: it has no landmark curves of lips or lids."
    return ""


def _line(head: Head, name: str, number: NDArray) -> Ints:
    """(k,) the skin's vertices of a landmark curve, the nearest ones where it is not made of vertices."""
    marks = head.landmarks
    if marks is None or name not in marks.curves:
        return np.zeros(0, dtype=np.int64)
    curve = marks.curves[name]
    if not isinstance(curve, np.ndarray):
        skin = np.flatnonzero(number >= 0)
        near = cKDTree(head.neutral[skin]).query(marks.curve_positions(name, head.neutral))[1]
        return np.asarray(near[np.diff(near, prepend=-1) != 0], dtype=np.int64)
    line = np.asarray(number[curve], dtype=np.int64)
    return line[line >= 0]
