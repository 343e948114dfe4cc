"""Parts that leave the skin that they touch at rest: lashes, brows, sheets over the eye that stay in the air.

Why it matters: a lash that stays where the lid was hangs in the air, and a wet line that stays shows as a bright edge
beside the lid. Looked at are the roots: the vertices of a part that touch the skin at rest, but for tips that lean on
it. How far a root leaves is how far it is from the skin's surface in the pose, less how far it was at rest. A quad that
is bent has a surface along each of its diagonals, and what lies between the two is on the skin.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from composer.checks.check import Check
from composer.checks.finding import Finding, Severity
from composer.checks.parts_of_face import parts_that_are, skin_near
from composer.checks.subject import CheckSubject, HeadFacts
from composer.geometry.closest_on_triangle import closest_on_triangles
from composer.geometry.nearest import NearestSurface
from composer.geometry.vectors import lengths
from composer.head.head import Part
from composer.head.understand.part_words import ON_SKIN
from composer.mixing.anchors import Anchors, anchors

_TOUCHES = 5e-4  # of the head's diagonal: a vertex this near to the skin at rest touches it
_REACH = 0.15  # of the head's diagonal: the skin to which a part may come in a pose


@dataclass(frozen=True, eq=False)
class Roots:
    """The vertices (k,) of a part that touch the skin at rest, how far they are from it, mm (k,), the skin's corners
    (k, 3) and weights (k, 3) at which they do, the corners (k, 4) of the quad there, one corner four times where it is
    none, and the triangles (t, 3) of the skin about the part."""

    vertices: NDArray[np.int32]
    away: NDArray[np.float64]
    corners: NDArray[np.int64]
    bary: NDArray[np.float64]
    quads: NDArray[np.int32]
    skin: NDArray[np.int32]


def roots_of(facts: HeadFacts, part: Part, places: Anchors) -> Roots | None:
    """The roots of a part, None where nothing of it touches the skin at rest. `places` are the head's anchors."""
    neutral, size = facts.head.neutral, facts.head.diagonal
    near = skin_near(facts, part.vertices, _REACH * size)
    if not len(near):
        return None
    skin = facts.triangles[near]
    closest = NearestSurface(neutral, skin)(neutral[part.vertices])
    bound = np.isin(places.vertices, part.vertices)
    leans = np.isin(part.vertices, places.vertices[bound & ~places.grows]) & places.grows[bound].any()
    on = (np.abs(closest.signed) <= _TOUCHES * size) & ~leans
    if not on.any():
        return None
    triangle = closest.triangle[on]
    bary = closest_on_triangles(closest.points[on], neutral[skin[triangle]])[0]
    return Roots(
        part.vertices[on], np.abs(closest.signed[on]), skin[triangle].astype(np.int64), bary,
        _quads(facts, near[triangle]), skin,
    )  # fmt: skip


def _quads(facts: HeadFacts, triangles: NDArray) -> NDArray[np.int32]:
    """(k, 4) the quads of some of the skin's triangles; the first corner four times of another polygon."""
    polygons = facts.head.polygons
    face = polygons.triangle_face[facts.face_is_skin[polygons.triangle_face]][triangles]
    quad = polygons.counts[face] == 4
    first = (np.cumsum(polygons.counts) - polygons.counts)[face]
    return np.asarray(polygons.indices[first[:, None] + np.where(quad[:, None], np.arange(4), 0)])


def _run(subject: CheckSubject) -> Iterator[Finding]:
    facts, limits = subject.facts, subject.limits
    for part in parts_that_are(facts, ON_SKIN):
        roots = facts.kept(("roots of", part.name), facts.head, partial(roots_of, facts, part, _anchors(subject)))
        if roots is None:
            continue
        on, far = _leaves(subject, roots)
        value = float(far.max(initial=0.0))
        if value <= limits.leaves_warning_mm:
            continue
        severity: Severity = "error" if value > limits.leaves_error_mm else "warning"
        yield Finding(
            code="touch.left",
            severity=severity,
            words=f"{part.name} leaves the skin that it touches at rest by up to {value:.1f} mm",
            hint="let the part follow the surface, or look whether its shapes move it with the skin",
            vertices=on,
            amounts=far,
            value=value,
            unit="mm",
            where=part.name,
        )


def _anchors(subject: CheckSubject) -> Anchors:
    """The head's anchors: the mixer's, which has made them, or made here once."""
    if subject.mixer is not None and subject.mixer.head is subject.head:
        return subject.mixer.anchors
    return subject.facts.kept("anchors", subject.head, partial(anchors, subject.head))


def _leaves(subject: CheckSubject, roots: Roots) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """The roots that leave the skin by more than the limit, and by how far, mm."""
    limit, pose = subject.limits.leaves_warning_mm, subject.pose
    place = np.einsum("kc,kcx->kx", roots.bary, pose[roots.corners])
    apart = np.flatnonzero(lengths(pose[roots.vertices] - place) - roots.away > limit)
    if not len(apart):  # the place that each touched at rest is as near still
        return roots.vertices[:0], np.zeros(0)
    away = np.abs(NearestSurface(pose, roots.skin)(pose[roots.vertices[apart]]).signed)
    a, b, c, d = np.moveaxis(pose[roots.quads[apart]], 1, 0)
    between = 0.5 * lengths(a - b + c - d)  # the middles of the diagonals, beyond which neither surface lies
    far = away - roots.away[apart] - between
    return roots.vertices[apart[far > limit]], far[far > limit]


LEFT_SKIN = Check("touch", "parts that leave the skin", "a lash in the air is seen", _run)
