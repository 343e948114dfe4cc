"""Checking a head for human size by the distance of its eyes and the length of its face. Doubts are questions.

Eye centres 50 to 75 mm apart: Dodgson, "Variation and extrema of human interpupillary distance", SPIE 5291, 2004: the
vast majority of adults lies in that range (mean 63 mm, extremes 45 and 80; from memory). Sellion to gnathion 90 to
150 mm: face height (menton to sellion) in ANSUR II, 2012, has means of 114 and 124 mm and extremes of 92 and 148
(women and men; from memory), and Farkas, Anthropometry of the Head and Face, 1994, agrees (from memory). A stylised
head may lie outside.
"""

from __future__ import annotations

import numpy as np

from composer.head.head import Head
from composer.head.places import Landmarks
from composer.head.understand.spheres import sphere_of
from composer.units import MM_PER_UNIT, mm_per

EYES_MM = (50.0, 75.0)
FACE_MM = (90.0, 150.0)
"""Human ranges of both measures; the sources are above."""


def eye_distance(head: Head, landmarks: Landmarks | None = None) -> float | None:
    """The distance in mm between the centres of the eyeballs, or of the lids' corners; None where neither is known."""
    balls = [part for part in head.parts if part.name in ("eye_left", "eye_right") and len(part.vertices) > 8]
    if len(balls) == 2:
        one, other = (sphere_of(head.neutral[part.vertices]).centre for part in balls)
        return float(np.linalg.norm(one - other))
    marks = landmarks or head.landmarks
    middles = []
    for side in ("left", "right"):
        names = [f"endocanthion_{side}", f"exocanthion_{side}"]
        if marks is None or any(name not in marks.points for name in names):
            return None
        middles.append(np.mean([marks.position(name, head.neutral) for name in names], axis=0))
    return float(np.linalg.norm(middles[0] - middles[1]))


def face_length(head: Head, landmarks: Landmarks | None = None) -> float | None:
    """The distance in mm from sellion to gnathion; None where one is unknown."""
    marks = landmarks or head.landmarks
    if marks is None or any(name not in marks.points for name in ("sellion", "gnathion")):
        return None
    return float(np.linalg.norm(marks.position("sellion", head.neutral) - marks.position("gnathion", head.neutral)))


def size_doubts(head: Head, landmarks: Landmarks | None = None) -> list[str]:
    """A sentence on each measure outside the human range, with the unit that would fit; empty where all fit.

    `landmarks` replace the head's own.
    """
    measures = (
        ("its eyes are", "apart", eye_distance(head, landmarks), EYES_MM),
        ("its face is", "long from sellion to gnathion", face_length(head, landmarks), FACE_MM),
    )
    doubts = []
    for what, how, found, (low, high) in measures:
        if found is None or low <= found <= high:
            continue
        raw = found / mm_per(head.unit)
        fits = [unit for unit, mm in MM_PER_UNIT.items() if low <= raw * mm <= high]
        ask = f"in {' or '.join(fits)} it would fit: say --unit {fits[0]}" if fits else "no unit fits; is it stylised?"
        size = f"{what.capitalize()} {found:.3g} mm {how}, a person's {low:.0f} to {high:.0f}"
        doubts.append(f"Is {head.unit} the unit? {size}; {ask}.")
    return doubts
