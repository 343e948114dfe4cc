"""Teeth and tongue through the skin: lips, cheeks and the mouth's inside pressed onto what lies behind them.

Why it matters: a tooth that shines through a lip is seen at once, and only in motion by the one who made the pose.
A part counts where its triangles cross triangles of the skin that they do not cross at rest; the depth is how much
further than at rest it lies behind the skin's surface (`penetration`). What only enters the flesh from inside is not
seen: it is a note, and only where it is deep. It is seen where it crosses skin whose outer side is turned away from
the part, at rest and in the pose: a lip that is rolled in over the teeth shows nothing. Gums are left out: they are
let into the skin.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.parts_of_face import parts_that_are, skin_near
from composer.checks.penetration import Sides, added_depths, inner_depths, spread
from composer.checks.subject import CheckSubject, HeadFacts
from composer.geometry.nearest import NearestSurface
from composer.geometry.self_intersection import crossing_pairs
from composer.geometry.vectors import cross, dot
from composer.head.head import Part

Triangles = NDArray[np.int32]
HARD = ("teeth", "tongue")
_REACH = 0.06  # of the head's diagonal: skin that far from the parts may come to touch them
_DEEPEST = 0.03  # of the head's diagonal: further behind the skin is not behind it any more


def mouth_parts(facts: HeadFacts) -> list[Part]:
    """The parts that are teeth or tongue, whatever they are called, and have faces."""
    return [part for part in parts_that_are(facts, HARD) if len(facts.part_triangles(part))]


def skin_about(facts: HeadFacts, parts: list[Part]) -> Triangles:
    """(k, 3) the triangles of the skin near some parts at rest."""
    near = skin_near(facts, np.concatenate([part.vertices for part in parts]), _REACH * facts.head.diagonal)
    return facts.triangles[near]


def _run(subject: CheckSubject) -> Iterator[Finding]:
    facts, head = subject.facts, subject.head
    parts = facts.kept("mouth parts", head, lambda: mouth_parts(facts))
    if not parts:
        return
    skin = facts.kept("skin about the mouth", head, lambda: skin_about(facts, parts))
    owner = np.repeat(np.arange(len(parts)), [len(facts.part_triangles(part)) for part in parts])
    hard = np.concatenate([facts.part_triangles(part) for part in parts])
    if not (subject.movement[skin].any() or subject.movement[hard].any()):
        return
    pairs = _new_pairs(subject, hard, skin)
    for i in np.unique(owner[pairs[:, 0]]):
        yield from _one(subject, parts[i], hard, skin, pairs[owner[pairs[:, 0]] == i])


def _new_pairs(subject: CheckSubject, hard: Triangles, skin: Triangles) -> NDArray[np.int64]:
    """(p, 2) the pairs that cross in the pose and not at rest."""
    at_rest = subject.facts.kept(
        "crossing at rest", subject.head, lambda: crossing_pairs(subject.head.neutral, hard, skin)
    )
    pairs = crossing_pairs(subject.pose, hard, skin)
    known = at_rest[:, 0] * len(skin) + at_rest[:, 1]
    return pairs[~np.isin(pairs[:, 0] * len(skin) + pairs[:, 1], known)]


def _one(
    subject: CheckSubject, part: Part, hard: Triangles, skin: Triangles, pairs: NDArray[np.int64]
) -> Iterator[Finding]:
    neutral, pose = subject.head.neutral, subject.pose
    deepest = _DEEPEST * subject.head.diagonal
    where = pose[skin[pairs[:, 1]]].reshape(-1, 3)
    low, high = where.min(axis=0) - deepest, where.max(axis=0) + deepest
    within = ((pose >= low) & (pose <= high)).all(axis=1)
    local = skin[within[skin].any(axis=1)]
    sides = Sides(NearestSurface(neutral, local), NearestSurface(pose, local), deepest)
    own = part.vertices[within[part.vertices]]
    crossed = hard[np.unique(pairs[:, 0])]
    vertices, depth = spread(
        own, added_depths(neutral, pose, own, sides), crossed, inner_depths(neutral, pose, crossed, sides)
    )
    limits, value = subject.limits, float(depth.max(initial=0.0))
    out = _outer(subject, part, skin[pairs[:, 1]])
    seen = int(np.count_nonzero(out))
    if value <= (limits.parts_warning_mm if seen else limits.parts_error_mm):
        return
    severity: Severity = "note" if not seen else "error" if value > limits.parts_error_mm else "warning"
    how = f"and through its outer side in {seen} triangle pairs" if seen else "from inside, where it is not seen"
    yield Finding(
        code="parts.through" if seen else "parts.inside",
        severity=severity,
        words=f"{part.name} runs {value:.1f} mm deeper into the skin than at rest, {how}",
        hint="lower the cells that press the skin there, move the part with the jaw, or sculpt a corrective",
        vertices=vertices,
        amounts=depth,
        value=value,
        unit="mm",
        where=part.name,
    )


def _outer(subject: CheckSubject, part: Part, triangles: Triangles) -> NDArray[np.bool_]:
    """(k,) whether the outer sides of triangles of the skin (k, 3) are turned away from a part, at rest and now."""
    away = np.ones(len(triangles), dtype=bool)
    for positions in (subject.head.neutral, subject.pose):
        a, b, c = (positions[triangles[:, i]] for i in range(3))
        off = (a + b + c) / 3.0 - positions[part.vertices].mean(axis=0)
        away &= dot(cross(b - a, c - a), off) > 0.0
    return away


MOUTH_PARTS = Check("parts", "teeth and tongue through the skin", "a tooth that shines through a lip is seen", _run)
