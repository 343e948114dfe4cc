"""Skin torn or crushed: triangles that are stretched further than any of the recipe's shapes stretches them.

Why it matters: texture swims and the surface ripples where triangles grow or shrink more than the sculptor
ever meant. A shape's own stretching is the sculptor's choice; only what the mixture adds to it is reported.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.subject import CheckSubject


def _run(subject: CheckSubject) -> Iterator[Finding]:
    limits, excess = subject.limits, subject.excess
    if subject.unmirrored:
        yield Finding(
            "stretch.mirror", "note",
            f"mirrored {subject.unmirrored[0]} could not be compared: the head has no mirror map",
            mend="give the head a symmetric neutral or a midline", where=subject.name,
        )  # fmt: skip
    over = np.flatnonzero(excess > limits.stretch_warning)
    if len(over) < limits.stretch_faces:
        return
    vertices, amounts = subject.at_vertices(over, excess[over])
    worst = float(np.quantile(excess[over], 0.95))
    severity: Severity = "error" if worst > limits.stretch_error else "warning"
    longer = subject.stretch[over, 0].max() - 1.0 > 1.0 / max(subject.stretch[over, 1].min(), 1e-3) - 1.0
    yield Finding(
        code="stretch.torn" if longer else "stretch.crushed",
        severity=severity,
        words=f"{len(over)} triangles are {'stretched' if longer else 'crushed'} {worst:.0%} beyond "
        "what any shape of the recipe does alone".replace("%", " percent"),
        mend="lower the cells that add up there, or let one of their rows replace",
        vertices=vertices,
        amounts=amounts * 100.0,
        value=worst * 100.0,
        unit="percent",
        where=subject.name,
    )


STRETCH = Check("stretch", "skin torn or crushed", "texture swims and the surface ripples", _run)
