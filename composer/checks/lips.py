"""Lips through lips: triangles of one lip that run through the other, and how deep.

Why it matters: lips that pass through each other cannot be lit or textured away, and no amount of smoothing
mends them. Each lip is what lies within a few edges of its own lip line, outside to the red's border and
inside as far again. Triangles are tested exactly; the depth is how far a vertex lies behind the other lip's
surface, less how far it already lies there at rest, because lips at rest may touch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.penetration import Sides, added_depths, inner_depths, spread
from composer.checks.subject import CheckSubject, HeadFacts
from composer.geometry.nearest import NearestSurface
from composer.geometry.self_intersection import crossing_pairs

LINES = ("lip_line_upper", "lip_line_lower")
BORDERS = ("upper_lip", "lower_lip")
_STEPS = 4  # edges from a lip line to the red's border, where the border is not marked
_DEEPEST = 0.03  # of the head's diagonal: further behind the other lip is not behind it any more


@dataclass(frozen=True, eq=False)
class LipZones:
    """Triangles (k, 3) of the upper and of the lower lip; they share no vertex."""

    upper: NDArray[np.int32]
    lower: NDArray[np.int32]

    @cached_property
    def vertices(self) -> NDArray[np.int32]:
        """(k,) the vertices of both."""
        return np.unique(np.concatenate([self.upper, self.lower]))


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


def _run(subject: CheckSubject) -> Iterator[Finding]:
    facts = subject.facts
    zones = facts.kept("lips", facts.head, lambda: lip_zones(facts))
    if isinstance(zones, str):
        yield Finding(
            "lips.skipped", "note", f"lips were not looked at: the head has no landmark curve {zones}",
            hint="mark the lip lines", where=subject.name,
        )  # fmt: skip
        return
    if not len(zones.upper) or not len(zones.lower) or not subject.movement[zones.vertices].any():
        return
    pairs = crossing_pairs(subject.pose, zones.upper, zones.lower)
    if not len(pairs):
        return
    neutral, pose, deepest = subject.head.neutral, subject.pose, _DEEPEST * subject.head.diagonal
    vertices, amounts = [], []
    for side, (mine, other) in enumerate(((zones.upper, zones.lower), (zones.lower, zones.upper))):
        rest = facts.kept(("lips", side), facts.head, partial(NearestSurface, neutral, other))
        sides = Sides(rest, NearestSurface(pose, other), deepest)
        own = np.unique(mine)
        crossed = mine[np.unique(pairs[:, side])]
        found, depth = spread(
            own, added_depths(neutral, pose, own, sides),
            crossed, inner_depths(neutral, pose, crossed, sides),
        )  # fmt: skip
        vertices.append(found)
        amounts.append(depth)
    depth = np.concatenate(amounts)
    value = float(depth.max(initial=0.0))
    if value <= subject.limits.lips_warning_mm:
        return
    severity: Severity = "error" if value > subject.limits.lips_error_mm else "warning"
    yield Finding(
        code="lips.through",
        severity=severity,
        words=f"lips run {value:.1f} mm deeper into each other than at rest: {len(pairs)} triangle pairs",
        hint="lower the cells that press the lips together, or sculpt a corrective for this recipe",
        vertices=np.concatenate(vertices),
        amounts=depth,
        value=value,
        unit="mm",
        where="the lips",
    )


LIPS = Check("lips", "lips through lips", "skin that passes through skin cannot be lit away", _run)
