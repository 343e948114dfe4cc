"""Shapes of the library that do nothing, that are there twice, or that hold places that are no numbers.

Why it matters: a dead shape is a setting that works on nothing, two equal shapes add up unseen, and one vertex
without a place spoils every recipe that uses its shape. Shapes are compared by the cosine of the angle between their
displacements, all vertices in one vector, and by the ratio of their lengths.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.document_subject import DocumentCheck, DocumentSubject
from composer.checks.finding import Finding

_ALIKE = 0.9995  # cosine: less than 2 degrees apart in the space of all vertices
_SAME = 0.02  # of length
BLOCK = 1 << 16  # vertices of all shapes at a time (our choice)


def _run(subject: DocumentSubject) -> Iterator[Finding]:
    head, limit = subject.head, subject.facts.limits.empty_mm
    kept = []
    for i, shape in enumerate(head.expressions):
        fields = [shape.delta, *(between.delta for between in shape.inbetweens)]
        bad = np.flatnonzero(~np.all([np.isfinite(each).all(axis=1) for each in fields], axis=0))
        if len(bad):
            yield Finding(
                "shapes.broken", "error",
                f"the shape {shape.name} has no place for {len(bad)} vertices (vertex {bad[0]} first)",
                hint="export it again; recipes that use it cannot be baked",
                vertices=bad.astype(np.int32), where=shape.name,
            )  # fmt: skip
        elif max(float(np.abs(each).max(initial=0.0)) for each in fields) < limit:
            yield Finding(
                "shapes.dead", "note", f"the shape {shape.name} moves nothing",
                hint="remove it from the library", where=shape.name,
            )  # fmt: skip
        else:
            kept.append(i)
    yield from _doubles(subject, kept)


def _doubles(subject: DocumentSubject, kept: list[int]) -> Iterator[Finding]:
    shapes = [subject.head.expressions[i] for i in kept]
    if len(shapes) < 2:
        return
    gram = np.zeros((len(shapes), len(shapes)))
    for start in range(0, subject.head.n_vertices, BLOCK):
        flat = np.stack([shape.delta[start : start + BLOCK].ravel() for shape in shapes])
        gram += flat @ flat.T
    size = np.sqrt(np.maximum(np.diag(gram), 1e-30))
    alike = np.triu(gram / np.outer(size, size) > _ALIKE, 1)
    for i, j in np.argwhere(alike):
        one, other, ratio = shapes[i], shapes[j], size[j] / size[i]
        same = abs(ratio - 1.0) < _SAME
        strong = f"{ratio:,.2f}".rstrip("0").rstrip(".")
        yield Finding(
            "shapes.double", "warning",
            f"the shapes {one.name} and {other.name} are the same"
            + ("" if same else f", the second {strong} times as strong"),
            hint="remove one of them", where=other.name,
        )  # fmt: skip


SHAPES = DocumentCheck("shapes", "dead, double and broken shapes", "they look like settings that work", _run)
