"""Skin torn: triangles that are longer than any of the recipe's shapes makes them.

Why it matters: texture swims and the surface thins where triangles grow more than the sculptor ever meant. A
shape's own stretching is the sculptor's choice; only what the mixture adds to it is reported.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.in_words import times
from composer.checks.subject import CheckSubject


def _run(subject: CheckSubject) -> Iterator[Finding]:
    limits, longer = subject.limits, subject.beyond[0]
    if subject.unmirrored:
        yield Finding(
            "stretch.mirror", "note",
            f"mirrored {subject.unmirrored[0]} could not be compared: the head has no mirror map",
            hint="give the head a symmetric neutral or a midline", where=subject.name,
        )  # fmt: skip
    over = np.flatnonzero(longer > limits.stretch_warning)
    if len(over) < limits.stretch_faces:
        return
    vertices, amounts = subject.at_vertices(over, longer[over])
    worst = float(np.quantile(longer[over], 0.95))
    severity: Severity = "error" if worst > limits.stretch_error else "warning"
    yield Finding(
        code="stretch.torn",
        severity=severity,
        words=f"{len(over)} triangles are stretched: {times(1.0 + worst)} any shape of the recipe makes them",
        hint="lower the cells that add up there, or let one of their rows replace",
        vertices=vertices,
        amounts=amounts * 100.0,
        value=worst * 100.0,
        unit="percent more",
        where=subject.name,
    )


STRETCH = Check("stretch", "skin torn", "texture swims and the surface thins", _run)
