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

Floats = NDArray[np.float64]


def turned_faces(subject: CheckSubject) -> tuple[NDArray[np.int64], Floats]:
    """Skin polygons (k,) that turned over beyond the recipe's shapes, and by how many degrees each (k,)."""
    polygons, limit = subject.head.polygons, np.cos(np.radians(subject.limits.flipped_deg))
    moved = (subject.movement > 0.0)[polygons.indices]
    faces = np.unique(polygons.corner_face[moved])
    faces = faces[subject.facts.face_is_skin[faces]]
    rest = _areas(polygons, subject.head.neutral, faces)
    cosine = _cosine(rest, _areas(polygons, subject.pose, faces))
    over = cosine < limit
    faces, rest, cosine = faces[over], rest[over], cosine[over]
    for source in subject.sources:
        if not len(faces):
            break
        alone = _cosine(rest, _areas(polygons, subject.head.neutral + source.delta, faces))
        kept = alone >= limit
        faces, rest, cosine = faces[kept], rest[kept], cosine[kept]
    return faces.astype(np.int64), np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


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
        mend="lower the cells that meet there, or soften the border between their regions",
        vertices=vertices.astype(np.int32),
        amounts=amounts,
        value=float(degrees.max()),
        unit="degrees",
        where=subject.name,
    )


def _areas(polygons, positions: NDArray, faces: NDArray) -> Floats:  # type: ignore[no-untyped-def]
    """(k, 3) area vectors of chosen polygons: half the sum of cross products of a fan (Newell's normal)."""
    if not len(faces):
        return np.zeros((0, 3))
    counts = polygons.counts[faces]
    first = np.repeat(polygons.starts[faces], counts)
    begin = np.cumsum(counts) - counts
    corner = first + np.arange(int(counts.sum())) - np.repeat(begin, counts)
    here = positions[polygons.indices[corner]] - np.repeat(
        positions[polygons.indices[polygons.starts[faces]]], counts, axis=0
    )
    following = positions[polygons.indices[polygons.next_corner[corner]]] - np.repeat(
        positions[polygons.indices[polygons.starts[faces]]], counts, axis=0
    )
    return 0.5 * np.add.reduceat(np.cross(here, following), begin, axis=0)


def _cosine(one: Floats, other: Floats) -> Floats:
    """(k,) cosine between vectors (k, 3); 1 where either has no length, which is no turn."""
    size = np.sqrt(np.einsum("ij,ij->i", one, one) * np.einsum("ij,ij->i", other, other))
    return np.where(size > 1e-18, np.einsum("ij,ij->i", one, other) / np.where(size > 1e-18, size, 1.0), 1.0)


FLIPPED = Check("flipped", "faces turned over", "they shade black and break subdivision", _run)
