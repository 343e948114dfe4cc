"""Folds: neighbouring faces of the skin that close up on each other like a book, where no shape alone does that.

Why it matters: a fold shades as a hard dark line, and subdivision turns it into a crease that no smoothing
mends. The angle of an edge is that between the two faces' normals with a sign, atan2((a x b) . e, a . b) with
unit normals a, b and the edge's direction e: 0 is flat, +-180 is shut. It is compared with the range that the
neutral and each shape alone span.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.subject import CheckSubject
from composer.geometry.vectors import cross, dot, lengths

Floats = NDArray[np.float64]


def edge_angles(first: NDArray, second: NDArray, along: NDArray) -> Floats:
    """(k,) degrees in (-180, 180]: how far the second face is turned against the first about their common edge.

    `first`, `second` (k, 3) are the faces' area vectors, `along` (k, 3) the edges in the direction in which the
    first face runs. Positive bends outwards (a ridge), negative inwards (a furrow). Without area or length: 0.
    """
    length = lengths(along)
    height = dot(cross(first, second), along) / np.where(length > 0.0, length, 1.0)
    return np.degrees(np.arctan2(height, dot(first, second)))


def folded_edges(subject: CheckSubject) -> tuple[NDArray[np.int64], Floats]:
    """Edges of the skin (indices into `facts.skin_edges`) that fold, and by how many degrees more than allowed."""
    edges, pairs = subject.facts.skin_edges
    limits = subject.limits
    moved = np.zeros(subject.head.polygons.n_faces, dtype=bool)
    moved[subject.moved_faces] = True
    near = np.flatnonzero(moved[pairs[:, 0]] | moved[pairs[:, 1]])
    a, b = subject.areas[pairs[near, 0]], subject.areas[pairs[near, 1]]
    sharp = dot(a, b) < np.cos(np.radians(limits.fold_deg)) * np.sqrt(dot(a, a) * dot(b, b))
    near, a, b = near[sharp], a[sharp], b[sharp]
    rest = subject.facts.rest_areas
    ends = edges[near]

    def angles(positions: NDArray, first: Floats, second: Floats) -> Floats:
        return edge_angles(first, second, positions[ends[:, 1]] - positions[ends[:, 0]])

    now = angles(subject.pose, a, b)
    low = high = angles(subject.head.neutral, rest[pairs[near, 0]], rest[pairs[near, 1]])
    for source in subject.sources if len(near) else ():
        both = subject.areas_alone(source, pairs[near].ravel()).reshape(-1, 2, 3)
        alone = angles(subject.head.neutral + source.delta, both[:, 0], both[:, 1])
        low, high = np.minimum(low, alone), np.maximum(high, alone)
    above = np.minimum(now - high, low + 360.0 - now)  # angles go round: from 170 to -170 it is 20 degrees
    below = np.minimum(low - now, now + 360.0 - high)
    more = np.where(now > high, above, np.where(now < low, below, 0.0))
    on = more > limits.fold_excess_deg
    return near[on], more[on]


def _run(subject: CheckSubject) -> Iterator[Finding]:
    edges, more = folded_edges(subject)
    if not len(edges):
        return
    ends = subject.facts.skin_edges[0][edges]
    vertices, where = np.unique(ends.ravel(), return_inverse=True)
    amounts = np.zeros(len(vertices))
    np.maximum.at(amounts, where.ravel(), np.repeat(more, 2))
    value = float(more.max())
    severity: Severity = "error" if value > subject.limits.fold_error_deg else "warning"
    one = len(edges) == 1
    yield Finding(
        code="folds.folded",
        severity=severity,
        words=f"{len(edges)} edge{' folds' if one else 's fold'} up to {value:.0f} degrees sharper than at rest "
        "and in every shape alone",
        hint="lower the cells that push towards each other there, or soften the border between their regions",
        vertices=vertices.astype(np.int32),
        amounts=amounts,
        value=value,
        unit="degrees",
        where=subject.name,
    )


FOLDS = Check("folds", "folds", "a fold shades as a hard line and becomes a crease when subdivided", _run)
