"""Lids through eyeballs, and lids that lift off them.

Why it matters: an eyeball that shows through a lid, or a dark slit between the two, is the first thing that
anyone sees. Penetration is how far a vertex of the skin lies inside the eyeball's surface, less how far it
lies there at rest; the gap is how much further a lid's margin is from the eyeball than at rest.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.nearest import NearestSurface
from composer.checks.subject import CheckSubject
from composer.head.head import Part

Floats = NDArray[np.float64]
MARGINS = ("upper_lid", "lower_lid")


def eyeballs(subject: CheckSubject) -> list[Part]:
    """The parts whose names begin with `eye`."""
    return [part for part in subject.head.parts if part.name.lower().startswith("eye") and len(part.vertices)]


def part_triangles(subject: CheckSubject, part: Part) -> NDArray[np.int32]:
    """(t, 3) the triangles that lie wholly in a part."""
    on = np.zeros(subject.head.n_vertices, dtype=bool)
    on[part.vertices] = True
    triangles = subject.head.polygons.triangles
    return triangles[on[triangles].all(axis=1)]


def _run(subject: CheckSubject) -> Iterator[Finding]:
    balls = eyeballs(subject)
    if not balls:
        yield Finding(
            "lids.skipped", "note", "lids were not looked at: no part has a name that begins with eye",
            mend="name the eyeballs eye_left and eye_right", where=subject.name,
        )  # fmt: skip
    for part in balls:
        yield from _one_eye(subject, part)


def _one_eye(subject: CheckSubject, part: Part) -> Iterator[Finding]:
    triangles = part_triangles(subject, part)
    if not len(triangles):
        yield Finding(
            "lids.skipped",
            "note",
            f"lids were not looked at on {part.name}: it has no faces",
            where=part.name,
        )
        return
    yield from _through(subject, part, triangles)
    side = part.name.rsplit("_", 1)[-1]
    margins = [subject.facts.curve(f"{name}_{side}") for name in MARGINS]
    known = [margin for margin in margins if margin is not None]
    if len(known) < len(MARGINS):
        missing = next(n for n, margin in zip(MARGINS, margins, strict=True) if margin is None)
        yield Finding(
            "lids.skipped", "note",
            f"gaps at {part.name} were not looked at: no landmark curve {missing}_{side}",
            mend="mark the lid margins", where=part.name,
        )  # fmt: skip
        return
    yield from _gap(subject, part, triangles, np.unique(np.concatenate(known)))


def _through(subject: CheckSubject, part: Part, triangles: NDArray) -> Iterator[Finding]:
    centre = subject.pose[part.vertices].mean(axis=0)
    away = subject.pose[part.vertices] - centre
    radius = float(np.sqrt(np.einsum("ij,ij->i", away, away).max()))
    off = subject.pose - centre
    near = np.flatnonzero(subject.head.skin & (np.einsum("ij,ij->i", off, off) < radius**2))
    if not len(near):
        return
    signed = NearestSurface(subject.pose, triangles)(subject.pose[near]).signed
    near, depth = near[signed < 0.0], -signed[signed < 0.0]
    if len(near):
        rest = NearestSurface(subject.head.neutral, triangles)(subject.head.neutral[near]).signed
        depth = depth - np.maximum(-rest, 0.0)
    value = float(depth.max(initial=0.0))
    if value <= subject.limits.lids_warning_mm:
        return
    severity: Severity = "error" if value > subject.limits.lids_error_mm else "warning"
    on = depth > 0.0
    yield Finding(
        code="lids.through",
        severity=severity,
        words=f"{int(on.sum())} vertices of the lids lie up to {value:.1f} mm inside {part.name}",
        mend="lower the cells that close the lids, or sculpt a corrective for this recipe",
        vertices=near[on].astype(np.int32),
        amounts=depth[on],
        value=value,
        unit="mm",
        where=part.name,
    )


def _gap(subject: CheckSubject, part: Part, triangles: NDArray, margin: NDArray) -> Iterator[Finding]:
    limit = subject.limits.lids_gap_mm
    moved = margin[(subject.movement[margin] > limit) | (subject.movement[part.vertices].max() > 0.0)]
    if not len(moved):
        return
    now = NearestSurface(subject.pose, triangles)(subject.pose[moved]).signed
    rest = NearestSurface(subject.head.neutral, triangles)(subject.head.neutral[moved]).signed
    lifted = now - np.maximum(rest, 0.0)
    value = float(lifted.max(initial=0.0))
    if value <= limit:
        return
    on = lifted > limit
    yield Finding(
        code="lids.gap",
        severity="warning",
        words=f"the margin of the lids lifts {value:.1f} mm further off {part.name} than at rest",
        mend="let the lids slide on the eyeball, or sculpt a corrective for this recipe",
        vertices=moved[on].astype(np.int32),
        amounts=lifted[on],
        value=value,
        unit="mm",
        where=part.name,
    )


LIDS = Check("lids", "lids through eyeballs", "it is the first thing that anyone sees", _run)
