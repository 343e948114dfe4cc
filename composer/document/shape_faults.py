"""The faults of shapes and of a neutral: head motion, no movement, doubles, mirrored files, a neutral not at rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import is_mirrored
from composer.head.coarse_head import coarse_head
from composer.head.head import Head, Shape
from composer.head.landmarks import resolve
from composer.head.stabilise import HeadMotion, head_motions
from composer.progress import Progress

Severity = Literal["error", "warning", "note"]
STILL, SAME = 1e-6, 1e-6
"""A shape that moves less, or differs less from another, is dead or a duplicate; fractions of the head's diagonal, at
the rounding of files with six or seven digits.
"""
UNREST, AGREE = 4e-3, 0.25
"""The neutral is not at rest if a vertex lies further than UNREST of the head's diagonal from a place where half of the
targets agree. They agree within AGREE times that distance. Common practice, no source: 1 mm and a quarter of it for a
head without its neck.
"""
LEAST_TARGETS = 5
"""With fewer targets the rest of the neutral is not checked. A design choice, no source."""
BLOCK = 1 << 15
"""Vertices compared at a time; it limits memory only."""


@dataclass(frozen=True)
class Fault:
    """One fault: its `code`, its `severity`, in `words`, and whether a repair removes it (`mended`)."""

    code: str
    severity: Severity
    words: str
    mended: bool = False


def shape_faults(
    head: Head, progress: Progress | None = None
) -> tuple[dict[str, HeadMotion], list[tuple[str, Fault]]]:  # fmt: skip
    """The head motion of each shape, and the faults of shapes and neutral, each with a shape's name. Those of a large
    head are looked for on its coarser level; a shape that seems dead or double there is looked at whole."""
    level = coarse_head(head)
    small = head if level is None else level.head
    motions = head_motions(small, progress)
    faults: list[tuple[str, Fault]] = []
    seen: list[tuple[Shape, Shape]] = []
    for shape, less in zip(head.shapes, small.shapes, strict=True):
        if is_mirrored(small.neutral, small.neutral + less.delta):
            faults.append((shape.name, Fault("shape.mirrored", "error", "is mirrored: left and right are exchanged")))
            continue
        motion = motions[shape.name]
        if motion.matters:
            far = float(np.linalg.norm(motion.shift_mm))
            words = f"head motion of {motion.turn_deg:.2f} degrees and {far:.2f} mm"
            faults.append((shape.name, Fault("motion.head", "warning", words, mended=True)))
        if less.furthest_mm <= STILL * head.diagonal and shape.furthest_mm <= STILL * head.diagonal:
            faults.append((shape.name, Fault("shape.dead", "warning", "does not move")))
            continue
        most = SAME * head.diagonal
        double = next((s for s, t in seen if _alike(t, less, most) and (s is t or _alike(s, shape, most))), None)
        if double is not None:
            faults.append((shape.name, Fault("shape.double", "warning", f"is the same as {double.name}")))
        seen.append((shape, less))
    unrest = _unrest(small, motions, np.arange(head.n_vertices) if level is None else level.level.vertices)
    if unrest:
        faults.append((head.neutral_name, Fault("neutral.unrest", "warning", unrest)))
    return motions, faults


def _alike(one: Shape, other: Shape, most: float) -> bool:
    return bool(np.abs(one.delta - other.delta).max(initial=0.0) <= most)


def _unrest(head: Head, motions: dict[str, HeadMotion], numbers: NDArray) -> str:
    """A description of where the neutral differs from most targets, vertex by vertex, each named by its number of
    `numbers` (n,); empty where it is at rest.

    Every expression leaves most of the face alone. So a place where at least half of the targets agree, after head
    motion is removed, is the face at rest: lids shut or lips open in the neutral alone stand out. Where every target
    differs, as at the corners of the mouth, nothing is reported.
    """
    if len(head.shapes) < LEAST_TARGETS:
        return ""
    back = [motions[shape.name].motion.inverse() for shape in head.shapes]
    offset, far = np.empty(head.n_vertices), UNREST * head.diagonal
    for low in range(0, head.n_vertices, BLOCK):
        rest = head.neutral[low : low + BLOCK]
        stabilised = [b(rest + s.delta[low : low + BLOCK]) - rest for b, s in zip(back, head.shapes, strict=True)]
        usual = np.median(np.array(stabilised), axis=0)
        close = [np.linalg.norm(each - usual, axis=1) <= AGREE * far for each in stabilised]
        agreed = np.mean(close, axis=0) >= 0.5
        offset[low : low + BLOCK] = np.where(agreed, np.linalg.norm(usual, axis=1), 0.0)
    worst = int(np.argmax(offset))
    if offset[worst] <= far:
        return ""
    near = ""
    if head.landmarks is not None and head.landmarks.points:
        places = {name: resolve(place, head.neutral) for name, place in head.landmarks.points.items()}
        near = min(places, key=lambda name: float(np.linalg.norm(places[name] - head.neutral[worst])))
        near = f" (near {near})"
    return f"is not at rest: vertex {numbers[worst]}{near} lies {offset[worst]:.1f} mm from where most targets have it"
