"""Faces turned over: polygons of the skin that point the other way than at rest, where no shape alone does
that.

Why it matters: a face that turned over shades black, catches no texture and breaks every later subdivision.
A polygon's direction is its area vector, the sum over its triangles. A shape that turns a face over by itself
(a lip that rolls in) is the library's own doing and is not reported.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding
from composer.checks.subject import CheckSubject
from composer.geometry.vectors import cosine

Floats = NDArray[np.float64]


def turned_faces(subject: CheckSubject) -> tuple[NDArray[np.int64], Floats]:
    """Skin polygons (k,) that turned over beyond the recipe's shapes, and by how many degrees each (k,)."""
    limit = np.cos(np.radians(subject.limits.flipped_deg))
    faces = subject.moved_faces
    rest = subject.facts.rest_areas[faces]
    turn = cosine(rest, subject.areas[faces])
    over = turn < limit
    faces, rest, turn = faces[over], rest[over], turn[over]
    for source in subject.sources:
        if not len(faces):
            break
        kept = cosine(rest, subject.areas_alone(source, faces)) >= limit
        faces, rest, turn = faces[kept], rest[kept], turn[kept]
    return faces, np.degrees(np.arccos(np.clip(turn, -1.0, 1.0)))


def _run(subject: CheckSubject) -> Iterator[Finding]:
    faces, degrees = turned_faces(subject)
    if not len(faces):
        return
    polygons = subject.head.polygons
    corners = [polygons.face(face) for face in faces]
    vertices, where = np.unique(np.concatenate(corners), return_inverse=True)
    amounts = np.zeros(len(vertices))
    np.maximum.at(amounts, where.ravel(), np.repeat(degrees, [len(c) for c in corners]))
    yield Finding(
        code="flipped.faces",
        severity="error",
        words=f"{len(faces)} face{'s are' if len(faces) > 1 else ' is'} turned over; no shape does that alone",
        hint="lower the cells that meet there, or soften the border between their regions",
        vertices=vertices.astype(np.int32),
        amounts=amounts,
        value=float(degrees.max()),
        unit="degrees",
        where=subject.name,
    )


FLIPPED = Check("flipped", "faces turned over", "they shade black and break subdivision", _run)
