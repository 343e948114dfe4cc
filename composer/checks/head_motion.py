"""Shapes that still carry the motion of the skull: what a scanned head turned and shifted while it made the face.

Why it matters: every recipe that uses such a shape turns the whole head a little, and a region cut out of it jumps
against its neighbours. The motion is the rigid one that the most surface agrees on (`composer.head.stabilise`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.document_subject import DocumentCheck, DocumentSubject
from composer.checks.finding import Finding
from composer.head.stabilise import HeadMotion, head_motions


def _run(subject: DocumentSubject) -> Iterator[Finding]:
    head = subject.head
    whole = [
        shape
        for shape in head.expressions
        if all(np.isfinite(delta).all() for delta in (shape.delta, *(between.delta for between in shape.inbetweens)))
    ]
    motions = {name: each for name, each in head_motions(head.with_(shapes=tuple(whole))).items() if each.matters}
    if not motions:
        return
    worst = max(motions, key=lambda name: _furthest(subject, motions[name]))
    turn, shift = motions[worst].turn_deg, float(np.linalg.norm(motions[worst].shift_mm))
    more = len(motions) - 1
    others = f"; {more} more {'target' if more == 1 else 'targets'} do too" if more else ""
    yield Finding(
        "motion.head", "warning",
        f"the shape {worst} carries a head motion of {turn:.2f} degrees and {shift:.2f} mm{others}",
        value=_furthest(subject, motions[worst]), unit="mm", where=worst,
        hint="where the head should hold still, mend the library's folder: moue inspect FOLDER --mend NEW_FOLDER",
    )  # fmt: skip


def _furthest(subject: DocumentSubject, motion: HeadMotion) -> float:
    """How far the motion takes the vertex that it takes furthest, in mm."""
    neutral = subject.head.neutral
    return float(np.linalg.norm(motion.motion(neutral) - neutral, axis=1).max(initial=0.0))


MOTION = DocumentCheck(
    "motion", "head motion left in shapes", "every recipe that uses the shape turns the whole head", _run
)
