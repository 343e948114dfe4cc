"""Doubts about the landmarks of a head: misspelt names, swapped sides, asymmetric pairs, points off the skin.

Names are free, so a doubt is not an error: it is a question with the landmark's name and what to do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable
from functools import cache

import numpy as np
from numpy.typing import NDArray

from composer.geometry.nearest import NearestSurface
from composer.head.head import Head
from composer.head.landmark_names import MIDLINE, landmark_names
from composer.head.places import Landmarks, Position
from composer.head.presets import region_set, region_set_names
from composer.head.understand.anatomy import anatomy_of

Floats = NDArray[np.float64]
LETTERS = 2
"""A name that differs from a known one by at most this many letters is doubted. A design choice, no source."""
ASKEW, OFF_SKIN = 0.016, 0.008
"""A pair further than ASKEW from mirror images, or a point further than OFF_SKIN off the skin, is doubted. Both are
fractions of the skin's diagonal: 6 and 3 mm on a head of 375 mm. Faces are asymmetric by a few mm (common practice, no
source).
"""
ACROSS = 0.008
"""A left landmark further than this on the right side, as a fraction of the skin's diagonal, is on the wrong side: 3 mm
on a head of 375 mm. A design choice, no source.
"""
MORE = (
    "menton", "cervicale", "otobasion_superius", "otobasion_inferius", "brow", "upper_lid", "lower_lid", "ear_rim",
    "ear_root", "nasolabial", "socket", "upper_lip", "lower_lip", "lip_line_upper", "lip_line_lower", "jawline",
    "midline_front", "neck_border", "mouth_inner", "vertex", "opisthocranion", "orbitale",
)  # fmt: skip
"""Landmarks and curves known in addition to those of the presets; paired ones end in _left and _right."""


@cache
def known_names() -> frozenset[str]:
    """Every name of a landmark or curve that Moue knows."""
    names = {name for preset in region_set_names() for name in landmark_names(preset)}
    for preset in region_set_names():
        for region in region_set(preset).regions:
            curves = [seed.curve for seed in region.seeds if seed.curve] + ([region.loop] if region.loop else [])
            names |= set(curves)
    for name in [*names, *MORE, *MIDLINE]:
        names |= {name, *(f"{name}_{side}" for side in ("left", "right") if not name.endswith(("_left", "_right")))}
    return frozenset(names)


def landmark_doubts(head: Head, landmarks: Landmarks | None = None) -> list[str]:
    """Sentences on doubts about a head's landmarks, or about the given ones; empty where there are none."""
    marks = landmarks or head.landmarks
    if not marks:
        return []
    return [*_names(marks), *_places(head, marks)]


def _names(marks: Landmarks) -> list[str]:
    known, said, unknown = known_names(), [], []
    for name in [*marks.points, *marks.curves]:
        if name in known:
            continue
        close = nearest_name(name, known)
        if close is not None and close not in marks.points and close not in marks.curves:
            said.append(f"Is landmark {name!r} meant to be {close!r}?")
        else:
            unknown.append(name)
    if unknown:
        shown = ", ".join(unknown[:3]) + (" and others" if len(unknown) > 3 else "")
        said.append(f"{len(unknown)} landmark{'s have' if len(unknown) > 1 else ' has'} names of their own ({shown}).")
    return said


def nearest_name(name: str, known: Collection[str]) -> str | None:
    """The nearest known name within LETTERS letters of `name`; None where there is none, or the name is too short.
    """
    if len(name) < 5:
        return None
    alike = [each for each in known if abs(len(each) - len(name)) <= LETTERS]
    close = [(letters_apart(name.lower(), each, LETTERS), each) for each in alike]
    near = sorted(row for row in close if row[0] <= LETTERS)
    return near[0][1] if near else None


def letters_apart(one: str, other: str, limit: int) -> int:
    """The number of letters to insert, delete, change or swap with a neighbour to turn one word into the other (Damerau
    1964); more than `limit` counts as limit + 1.
    """
    if sum((Counter(one) - Counter(other)).values()) > limit:  # each needs a change of its own
        return limit + 1
    before2: list[int] = []
    before = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        row = [i]
        for j, b in enumerate(other, 1):
            best = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and one[i - 2] == b:
                best = min(best, before2[j - 2] + 1)
            row.append(best)
        if min(row) > limit:
            return limit + 1
        before2, before = before, row
    return min(before[-1], limit + 1)


def _places(head: Head, marks: Landmarks) -> list[str]:
    anatomy = anatomy_of(head)
    size, frame = anatomy.motion.size, anatomy.frame
    local = {name: frame.local(marks.position(name, head.neutral)[None])[0] for name in marks.points}
    said = []
    across = {"_left": -1.0, "_right": 1.0}
    wrong = [
        name for name, place in local.items()
        if any(name.endswith(word) and sign * place[0] > ACROSS * size for word, sign in across.items())
    ]  # fmt: skip
    if wrong:
        one = "its name says" if len(wrong) == 1 else "their names say"
        said.append(f"{_listed(wrong)} on the other side of the head than {one}: left is the subject's left.")
    for name, place in local.items():
        other = name.removesuffix("_left") + "_right"
        if name.endswith("_left") and other in local and name not in wrong and other not in wrong:
            apart = float(np.linalg.norm(place * (-1.0, 1.0, 1.0) - local[other]))
            if apart > ASKEW * size:
                said.append(f"{name} and {other} are {apart:.1f} mm from being mirror images.")
    free = {name: place for name, place in marks.points.items() if isinstance(place, tuple)}
    said += _off_skin(head, free, OFF_SKIN * size)
    return said


def _off_skin(head: Head, free: dict[str, Position], limit: float) -> list[str]:
    triangles = anatomy_of(head).pieces.skin_triangles
    if not free or not len(triangles):
        return []
    away = np.abs(NearestSurface(head.neutral, triangles)(np.array(list(free.values()))).signed)
    return [f"{name} lies {far:.1f} mm off the skin." for name, far in zip(free, away, strict=True) if far > limit]


def _listed(names: Iterable[str]) -> str:
    names = list(names)
    shown = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
    return f"{shown} {'lies' if len(names) == 1 else 'lie'}"
