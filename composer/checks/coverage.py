"""Vertices that no region has, and vertices that locked regions have more than once.

Why it matters: where the library moves the skin and no region takes it, a recipe by regions leaves a hole that stays
behind. A hollow, like the inside of a mouth, is only noted. Where locked regions overlap to more than the whole,
none of them can keep what was painted. That unlocked regions overlap is meant: they share; it is said where three
and more of them lie on each other.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.document_subject import DocumentCheck, DocumentSubject
from composer.checks.finding import Finding, Severity
from composer.checks.islands import PRESENT
from composer.geometry.vectors import cross, dot, lengths

_WHOLE = 1.0 + 1e-6
_HOLE = 0.1  # of the area that regions cover: what is larger is no hole
_INWARDS = -0.2  # mean cosine between the normals of a piece and the directions away from its middle
_OFTEN = 2.5  # the raw masks of so many regions lie on each other


def _run(subject: DocumentSubject) -> Iterator[Finding]:
    if not subject.face:
        return
    raw = np.sum([subject.raw[name] for name in subject.face], axis=0)
    yield from _holes(subject, raw)
    locked = [subject.raw[name] for name in subject.face if name in subject.locked]
    held = np.sum(locked, axis=0) if locked else np.zeros(len(raw))
    yield from _over(
        subject, held, _WHOLE, "coverage.locked", "warning",
        "locked masks overlap: together up to {0:.0f} percent, so none of them keeps what was painted",
        "unlock one of the regions that meet there, or erase where they overlap",
    )  # fmt: skip
    yield from _over(
        subject, raw, _OFTEN, "coverage.often", "note",
        "{1} vertices are in several masks at once, up to {0:.0f} percent together, and each gets its share only",
        "erase the regions that are not meant to be there",
    )  # fmt: skip


def _holes(subject: DocumentSubject, raw: NDArray) -> Iterator[Finding]:
    """Pieces without a region that regions enclose on all sides, and where the library moves the skin."""
    head, limit = subject.head, subject.facts.limits.uncovered_mm
    bare = (raw < PRESENT) & head.skin
    pieces = subject.pieces(bare)
    covered = float(subject.areas[~bare].sum())
    open_border = head.polygons.border_vertices
    for piece in pieces:
        if open_border[piece].any() or float(subject.areas[piece].sum()) > _HOLE * covered:
            continue  # the back of the head is not a hole
        moved = subject.reach[piece]
        on = moved > limit
        if not on.any():
            continue
        value = float(moved.max())
        yield Finding(
            code="coverage.hole",
            severity="note" if is_hollow(subject, piece) else "warning",
            words=f"{int(on.sum())} vertices lie in no region, amid regions, and shapes move them up to "
            f"{value:.1f} mm",
            hint="paint them into the region around them",
            vertices=piece[on],
            amounts=moved[on],
            value=value,
            unit="mm",
        )


def is_hollow(subject: DocumentSubject, piece: NDArray) -> bool:
    """Whether a piece of skin (k,) faces its own middle: the inside of a mouth, an eye's socket."""
    faces = subject.facts.triangles[np.isin(subject.facts.triangles, piece).all(axis=1)]
    a, b, c = (subject.head.neutral[faces[:, i]] for i in range(3))
    normal, middle = cross(b - a, c - a), (a + b + c) / 3.0
    weight = lengths(normal)
    if not weight.any():
        return False
    off = middle - np.average(middle, axis=0, weights=weight)
    return float(dot(normal, off / np.maximum(lengths(off), 1e-30)[:, None]).sum()) < _INWARDS * float(weight.sum())


def _over(
    subject: DocumentSubject, sums: NDArray, limit: float, code: str, severity: Severity, words: str, hint: str
) -> Iterator[Finding]:
    """A finding on the vertices at which the `sums` (n,) of masks are above a limit; `words` take percent and count."""
    on = np.flatnonzero((sums > limit) & subject.head.skin)
    if len(on):
        value = 100.0 * float(sums[on].max())
        yield Finding(
            code, severity, words.format(value, len(on)), hint, on.astype(np.int32), 100.0 * sums[on], value, "percent"
        )


COVERAGE = DocumentCheck("coverage", "uncovered and over-covered skin", "what no region takes stays behind", _run)
