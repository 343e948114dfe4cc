"""Lids through eyeballs, and lids that lift off them.

Why it matters: an eyeball that shows through a lid, or a dark slit between the two, is the first thing that
anyone sees. Penetration is how far a vertex of the skin, or the inside of a triangle that crosses the eyeball's
by the exact test, lies inside its surface, less how far it lies there at rest; the gap is how much further a
lid's margin is from the eyeball than at rest. Only skin that turns away from the ball is looked at: the socket and the
insides of the lids touch it in most heads, and nobody sees them. An eyeball is told by what it is (`parts_of_face`),
not by its name.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.parts_of_face import eyeballs, lids_of
from composer.checks.penetration import Sides, added_depths, inner_depths, spread
from composer.checks.subject import CheckSubject
from composer.geometry.nearest import NearestSurface
from composer.geometry.self_intersection import crossing_mask
from composer.geometry.vectors import dot, lengths
from composer.head.head import Part

_NEAR = 0.15  # of the eyeball's radius: triangles with a corner closer than that may cut into it


def _run(subject: CheckSubject) -> Iterator[Finding]:
    balls = eyeballs(subject.facts)
    if not balls:
        yield Finding(
            "lids.skipped", "note", "lids were not looked at: the head has no part that is an eyeball",
            hint="say in the document which piece is one: [parts.eye_left]", where=subject.name,
        )  # fmt: skip
    for part in balls:
        yield from _one_eye(subject, part)


def _one_eye(subject: CheckSubject, part: Part) -> Iterator[Finding]:
    rest = subject.facts.part_surface(part)
    if rest is None:
        yield Finding(
            "lids.skipped",
            "note",
            f"lids were not looked at on {part.name}: it has no faces",
            where=part.name,
        )
        return
    still = float(subject.movement[part.vertices].max()) == 0.0
    now = rest if still else NearestSurface(subject.pose, subject.facts.part_triangles(part))
    yield from _through(subject, part, rest, now)
    margin = lids_of(subject.facts, part).margin
    if margin is None:
        yield Finding(
            "lids.skipped", "note",
            f"gaps at {part.name} were not looked at: the margins of its lids are not marked",
            hint="mark the curves upper_lid and lower_lid of that side", where=part.name,
        )  # fmt: skip
        return
    yield from _gap(subject, part, rest, now, margin)


def _through(
    subject: CheckSubject, part: Part, rest: NearestSurface, now: NearestSurface
) -> Iterator[Finding]:
    neutral, pose, ball = subject.head.neutral, subject.pose, subject.facts.part_triangles(part)
    lids = lids_of(subject.facts, part).outer
    centre = pose[part.vertices].mean(axis=0)
    radius = float(lengths(pose[part.vertices] - centre).max())
    off = pose - centre
    squared = dot(off, off)
    near = squared < radius**2
    about = squared < (1.0 + _NEAR) ** 2 * radius**2
    if now is rest:  # only what moved further than it is away at rest can have come inside
        clear = subject.facts.kept(("clear of", part.name), subject.head, lambda: _clearance(subject, part, rest))
        near &= (subject.movement > clear) & (subject.movement > 0.0)
        about &= subject.movement > np.maximum(clear - _NEAR * radius, 0.0)
    inside = np.flatnonzero(near & lids)
    skin = subject.facts.triangles[lids[subject.facts.triangles].all(axis=1)]
    close = skin[about[skin[:, 0]] | about[skin[:, 1]] | about[skin[:, 2]]]
    close = close[crossing_mask(pose, close, ball)]
    sides = Sides(rest, now)
    vertices, depth = spread(
        inside, added_depths(neutral, pose, inside, sides), close, inner_depths(neutral, pose, close, sides)
    )
    value = float(depth.max(initial=0.0))
    if value <= subject.limits.lids_warning_mm:
        return
    severity: Severity = "error" if value > subject.limits.lids_error_mm else "warning"
    yield Finding(
        code="lids.through",
        severity=severity,
        words=f"{len(vertices)} vertices of the lids lie up to {value:.1f} mm inside {part.name}",
        hint="lower the cells that close the lids, or sculpt a corrective for this recipe",
        vertices=vertices,
        amounts=depth,
        value=value,
        unit="mm",
        where=part.name,
    )


def _clearance(subject: CheckSubject, part: Part, rest: NearestSurface) -> NDArray[np.float64]:
    """(n,) mm from each vertex of the skin near an eyeball to it at rest, 0 where inside, 0 for what is far."""
    head = subject.head
    ball = head.neutral[part.vertices]
    off = head.neutral - ball.mean(axis=0)
    reach = 1.5 * lengths(ball - ball.mean(axis=0)).max()
    near = np.flatnonzero(head.skin & (dot(off, off) < reach**2))
    clear = np.zeros(head.n_vertices)
    clear[near] = np.maximum(rest(head.neutral[near]).signed, 0.0)
    return clear


def _gap(
    subject: CheckSubject, part: Part, rest: NearestSurface, now: NearestSurface, margin: NDArray
) -> Iterator[Finding]:
    limit = subject.limits.lids_gap_mm
    moved = margin if now is not rest else margin[subject.movement[margin] > limit]
    before = rest(subject.head.neutral[moved]).signed
    lifted = now(subject.pose[moved]).signed - np.maximum(before, 0.0)
    value = float(lifted.max(initial=0.0))
    if value <= limit:
        return
    on = lifted > limit
    yield Finding(
        code="lids.gap",
        severity="warning",
        words=f"the margin of the lids lifts {value:.1f} mm further off {part.name} than at rest",
        hint="let the lids slide on the eyeball, or sculpt a corrective for this recipe",
        vertices=moved[on].astype(np.int32),
        amounts=lifted[on],
        value=value,
        unit="mm",
        where=part.name,
    )


LIDS = Check("lids", "lids through eyeballs", "it is the first thing that anyone sees", _run)
