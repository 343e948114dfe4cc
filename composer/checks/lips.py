"""Lips through lips: triangles of one lip that run through the other, and how deep.

Why it matters: lips that pass through each other cannot be lit or textured away, and no amount of smoothing
mends them. Each lip is what lies within a few edges of its own lip line, outside to the red's border and
inside as far again. Triangles are tested exactly; the depth is how far a vertex lies behind the other lip's
surface, less how far it already lies there at rest, because lips at rest may touch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.nearest import NearestSurface
from composer.checks.self_intersection import crossing_pairs
from composer.checks.subject import CheckSubject, HeadFacts

Floats = NDArray[np.float64]
LINES = ("lip_line_upper", "lip_line_lower")
BORDERS = ("upper_lip", "lower_lip")
_STEPS = 4  # edges from a lip line to the red's border, where the border is not marked
_DEEPEST = 0.03  # of the head's diagonal: further behind the other lip is not behind it any more


@dataclass(frozen=True, eq=False)
class LipZones:
    """Triangles (k, 3) of the upper and of the lower lip; they share no vertex."""

    upper: NDArray[np.int32]
    lower: NDArray[np.int32]


def lip_zones(facts: HeadFacts) -> LipZones | str:
    """The two lips of a head, or the name of the curve that is missing."""
    lines = [facts.curve(name) for name in LINES]
    for name, line in zip(LINES, lines, strict=True):
        if line is None:
            return name
    reach = _STEPS
    for line, border in zip(lines, (facts.curve(name) for name in BORDERS), strict=True):
        if border is not None and line is not None:
            away = facts.steps_from(line, 24)[border]
            reach = max(reach, int(away[away <= 24].max(initial=0)))
    upper, lower = (facts.steps_from(line, reach) for line in lines if line is not None)
    zone = np.where(
        (upper < lower) & (upper <= reach), 1, np.where((lower < upper) & (lower <= reach), -1, 0)
    )
    of = zone[facts.triangles]
    return LipZones(facts.triangles[(of == 1).all(axis=1)], facts.triangles[(of == -1).all(axis=1)])


def depths(positions: NDArray, vertices: NDArray, surface: NDArray, deepest: float) -> Floats:
    """(k,) mm that `vertices` (k,) lie behind the open surface of triangles `surface` (t, 3), 0 where before
    it.
    """
    positions = np.asarray(positions, dtype=np.float64)
    near = np.unique(surface)
    low, high = positions[near].min(axis=0), positions[near].max(axis=0)
    inside = ((positions[vertices] >= low) & (positions[vertices] <= high)).all(axis=1)
    depth = np.zeros(len(vertices))
    closest = NearestSurface(positions, surface)(positions[vertices[inside]])
    behind = (closest.signed < 0.0) & ~closest.on_border & (closest.signed > -deepest)
    depth[inside] = np.where(behind, -closest.signed, 0.0)
    return depth


def _run(subject: CheckSubject) -> Iterator[Finding]:
    zones = lip_zones(subject.facts)
    if isinstance(zones, str):
        yield Finding(
            "lips.skipped", "note", f"lips were not looked at: the head has no landmark curve {zones}",
            mend="mark the lip lines", where=subject.name,
        )  # fmt: skip
        return
    pairs = crossing_pairs(subject.pose, zones.upper, zones.lower)
    if not len(pairs):
        return
    touched = np.unique(np.concatenate([zones.upper[pairs[:, 0]].ravel(), zones.lower[pairs[:, 1]].ravel()]))
    deepest = _DEEPEST * subject.head.diagonal
    vertices = np.concatenate([np.unique(zones.upper), np.unique(zones.lower)])
    depth = np.zeros(len(vertices))
    half = len(np.unique(zones.upper))
    for part, surface in ((slice(None, half), zones.lower), (slice(half, None), zones.upper)):
        now = depths(subject.pose, vertices[part], surface, deepest)
        behind = np.flatnonzero(now > 0.0)
        if len(behind):
            rest = depths(subject.head.neutral, vertices[part][behind], surface, deepest)
            now[behind] = np.maximum(now[behind] - rest, 0.0)
        depth[part] = now
    value = float(depth.max(initial=0.0))
    if value <= subject.limits.lips_warning_mm:
        return
    severity: Severity = "error" if value > subject.limits.lips_error_mm else "warning"
    on = (depth > 0.0) | np.isin(vertices, touched)
    yield Finding(
        code="lips.through",
        severity=severity,
        words=f"lips run {value:.1f} mm deeper into each other than at rest: {len(pairs)} triangle pairs",
        mend="lower the cells that press the lips together, or sculpt a corrective for this recipe",
        vertices=vertices[on].astype(np.int32),
        amounts=depth[on],
        value=value,
        unit="mm",
        where=subject.name,
    )


LIPS = Check("lips", "lips through lips", "skin that passes through skin cannot be lit away", _run)
