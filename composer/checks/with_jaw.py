"""Lower teeth and tongue that stay where the jaw goes, or go where it stays.

Why it matters: teeth that stay shut in an open mouth, or come out through a chin that did not move, are seen at once.
What the jaw does is known from the library: the rigid motion of the parts that it carries in the shape that opens the
mouth. How much of it a pose has is measured twice, along that motion: on the skin that goes with the jaw, and on each
part that follows it. The two must agree, but for what the recipe's own shapes leave between them, and these add up: a
shape that pushes the chin's skin on a shut jaw is the library's own. A chin that only bulges does not move as a jaw and
is not taken for one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.subject import CheckSubject, HeadFacts
from composer.geometry.vectors import dot, lengths
from composer.head.head import Part
from composer.head.understand.anatomy import anatomy_of

Floats = NDArray[np.float64]
_ALONG = 0.2  # of the jaw's motion: skin that strays no further from it goes with the jaw
_AS_A_JAW = 0.35  # of what the skin on the jaw moves in a pose: with more left over it is no motion of the jaw
_FURTHEST = 0.6  # of the jaw's largest motion on the skin: what moves less lies near the hinge and says little


@dataclass(frozen=True, eq=False)
class JawSkin:
    """The skin that goes with the jaw (k,), and where the jaw takes it in the shape that opens the mouth (k, 3) mm;
    for each part that follows the jaw where it takes that (m, 3) mm."""

    vertices: NDArray[np.int64]
    motion: Floats
    parts: tuple[tuple[Part, Floats], ...]


def jaw_skin(facts: HeadFacts) -> JawSkin | None:
    """What goes with the jaw of a head, None where no part follows it or no shape says what it does."""
    head = facts.head
    followers = [part for part in head.parts if part.follows == "jaw" and len(part.vertices)]
    jaw = anatomy_of(head).jaw if followers else None
    if jaw is None:
        return None
    goes = head.neutral @ jaw.turn.T + jaw.shift - head.neutral
    far = lengths(goes)
    own = head.expressions[jaw.shape].delta.astype(np.float64)
    along = head.skin & (lengths(own - goes) <= _ALONG * far)
    along &= far >= _FURTHEST * far[along].max(initial=0.0)
    vertices = np.flatnonzero(along)
    if not len(vertices):
        return None
    return JawSkin(vertices, goes[vertices], tuple((part, goes[part.vertices]) for part in followers))


def share_of(moved: Floats, jaw: Floats) -> float:
    """How much of the jaw's motion (k, 3) is in displacements (k, 3), in the middle: 0 none, 1 all of it."""
    return float(np.median(dot(moved, jaw) / np.maximum(dot(jaw, jaw), 1e-12)))


def _run(subject: CheckSubject) -> Iterator[Finding]:
    facts, limits = subject.facts, subject.limits
    known = facts.kept("skin on the jaw", facts.head, lambda: jaw_skin(facts))
    if known is None:
        return
    neutral, pose = facts.head.neutral, subject.pose
    skin = pose[known.vertices] - neutral[known.vertices]
    opened = share_of(skin, known.motion)
    alone = [share_of(source.delta[known.vertices], known.motion) for source in subject.sources]
    left = float(np.median(lengths(skin - opened * known.motion)))
    if left > _AS_A_JAW * float(np.median(lengths(skin))) and left > limits.jaw_warning_mm:
        return
    for part, goes in known.parts:
        moved = pose[part.vertices] - neutral[part.vertices]
        lags = opened - share_of(moved, goes)
        each: dict[tuple[str, bool], tuple[float, float]] = {}  # a shape in several regions counts once
        for on_skin, source in zip(alone, subject.sources, strict=True):
            one, key = on_skin - share_of(source.delta[part.vertices], goes), (source.cell.shape, source.cell.mirrored)
            low, high = each.get(key, (0.0, 0.0))
            each[key] = (min(low, one), max(high, one))
        lags -= float(np.clip(lags, sum(low for low, _ in each.values()), sum(high for _, high in each.values())))
        apart = abs(lags) * lengths(goes)
        value = float(np.median(apart))
        if value <= limits.jaw_warning_mm:
            continue
        severity: Severity = "error" if value > limits.jaw_error_mm else "warning"
        what = "stays behind the jaw" if lags * opened > 0 else "goes where the jaw does not"
        yield Finding(
            code="jaw.apart",
            severity=severity,
            words=f"{part.name} {what} by {value:.1f} mm",
            hint="give its region the cell that opens the jaw, or let it follow the jaw in the table of parts",
            vertices=part.vertices,
            amounts=apart,
            value=value,
            unit="mm",
            where=part.name,
        )


WITH_JAW = Check("jaw", "parts that leave the jaw", "teeth that stay in an open mouth are seen", _run)
