"""Faces of the neutral that are turned over or have no area: wrong before any recipe.

Why it matters: a neutral face that points inwards among faces that point outwards shades black in every pose, and no
check of a pose can see it, because poses are compared with the neutral. A face counts as turned over where all its
neighbours point the other way.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.checks.document_subject import DocumentCheck, DocumentSubject
from composer.checks.finding import Finding
from composer.geometry.vectors import cosine, lengths

_AGAINST = -0.5  # cosine with a neighbour's normal
_FLAT = 1e-9  # of the mean area


def _run(subject: DocumentSubject) -> Iterator[Finding]:
    facts = subject.facts
    polygons, areas = facts.head.polygons, facts.rest_areas
    pairs = facts.skin_edges[1]
    against = cosine(areas[pairs[:, 0]], areas[pairs[:, 1]]) < _AGAINST
    neighbours = np.bincount(pairs.ravel(), minlength=polygons.n_faces)
    turned = np.bincount(pairs[against].ravel(), minlength=polygons.n_faces)
    over = np.flatnonzero((neighbours >= 2) & (turned == neighbours))
    size = lengths(areas)
    flat = np.flatnonzero(facts.face_is_skin & (size <= _FLAT * max(float(size.mean()), 1e-30)))
    for code, faces, words, hint in (
        ("neutral.turned", over, "turned over at rest", "turn them round in the neutral, or recompute its normals"),
        ("neutral.flat", flat, "without area at rest", "merge the vertices that share a place, or remove the faces"),
    ):
        if len(faces):
            vertices = np.unique(np.concatenate([polygons.face(int(face)) for face in faces]))
            yield Finding(
                code, "warning", f"{len(faces)} face{'s are' if len(faces) > 1 else ' is'} {words}",
                hint=hint, vertices=vertices.astype(np.int32), value=float(len(faces)),
            )  # fmt: skip


NEUTRAL = DocumentCheck("neutral", "faces of the neutral", "what is wrong at rest is wrong in every pose", _run)
