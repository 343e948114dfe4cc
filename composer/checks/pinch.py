"""Skin pinched: triangles that are pressed shorter than any of the recipe's shapes presses them.

Why it matters: pressed triangles crease, shade as a dark line and turn over at the next small change. Compared
by the smaller principal stretch with the shapes' own; half as long counts as 100 percent, so that pressing and
stretching weigh the same.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.in_words import fraction
from composer.checks.subject import CheckSubject


def _run(subject: CheckSubject) -> Iterator[Finding]:
    limits, shorter = subject.limits, subject.beyond[1]
    over = np.flatnonzero(shorter > limits.stretch_warning)
    if len(over) < limits.stretch_faces:
        return
    vertices, amounts = subject.at_vertices(over, shorter[over])
    worst = float(np.quantile(shorter[over], 0.95))
    severity: Severity = "error" if worst > limits.stretch_error else "warning"
    yield Finding(
        code="pinch.crushed",
        severity=severity,
        words=f"{len(over)} triangles are crushed to {fraction(1.0 / (1.0 + worst))} of the least width "
        "that any shape of the recipe leaves them",
        hint="lower one of the cells that press against each other there, or widen the ramp between them",
        vertices=vertices,
        amounts=amounts * 100.0,
        value=worst * 100.0,
        unit="percent more",
        where=subject.name,
    )


PINCH = Check("pinch", "skin pinched", "pressed skin creases and shades as a dark line", _run)
