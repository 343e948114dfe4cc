"""A large head on a coarser level: the same shapes, parts, groups and landmarks at fewer vertices, and back.

What a head is found to be (parts, frame, landmarks, regions) is found there: it is a matter of millimetres, and on a
million vertices it takes minutes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import read_only
from composer.head.coarse import Coarse, coarse_of
from composer.head.head import Head, InBetween, Part, Shape
from composer.head.places import Curve, Landmarks, Place, SurfacePoint, resolve
from composer.head.understand.anatomy import with_anatomy_of


@dataclass(frozen=True, eq=False)
class CoarseHead:
    """The `head` on the coarser `level` of `fine`."""

    fine: Head
    level: Coarse
    head: Head

    def parts_up(self, parts: tuple[Part, ...]) -> tuple[Part, ...]:
        """Parts of the coarse head on the fine one. A vertex is in the first of two that share it."""
        free = np.ones(self.fine.n_vertices, dtype=bool)
        lifted = []
        for part in parts:
            vertices = self.level.vertices_up(part.vertices)
            vertices = vertices[free[vertices]]
            free[vertices] = False
            lifted.append(replace(part, vertices=read_only(vertices)))
        return tuple(lifted)

    def landmarks_up(self, marks: Landmarks) -> Landmarks:
        """Landmarks of the coarse head on the fine one: a point inside a polygon goes to the nearest vertex of those
        that came from its corners, a curve of vertices gets those on the edges between them."""
        parents = self.level.parents

        def up(place: Place) -> Place:
            if isinstance(place, tuple):
                return place
            if not isinstance(place, SurfacePoint):
                return int(self.level.vertices[place])
            near = np.flatnonzero(np.isin(parents, place.triangle))
            away = self.fine.neutral[near] - resolve(place, self.head.neutral)
            return int(near[np.argmin(np.einsum("ij,ij->i", away, away))])

        points = {name: up(place) for name, place in marks.points.items()}
        curves: Mapping[str, Curve] = {
            name: self.level.line_up(curve) if isinstance(curve, np.ndarray) else tuple(up(place) for place in curve)
            for name, curve in marks.curves.items()
        }
        return Landmarks(points, curves, marks.pinned)

    def landmarks_down(self, marks: Landmarks) -> Landmarks:
        """Landmarks of the fine head on the coarse one: a point as its position, a curve of vertices as a line of
        coarse ones beside it."""
        parents = self.level.parents
        number = np.full(self.fine.n_vertices, -1, dtype=np.int32)
        number[self.level.vertices] = np.arange(len(self.level.vertices), dtype=np.int32)

        def down(place: Place) -> Place:
            if not isinstance(place, (tuple, SurfacePoint)) and number[place] >= 0:
                return int(number[place])
            x, y, z = (float(each) for each in resolve(place, self.fine.neutral))
            return x, y, z

        def line(curve: NDArray) -> NDArray:
            coarse: NDArray = np.where(number[curve] >= 0, number[curve], parents[curve])
            return coarse[np.r_[True, coarse[1:] != coarse[:-1]]] if len(coarse) else coarse

        points = {name: down(place) for name, place in marks.points.items()}
        curves: Mapping[str, Curve] = {
            name: line(curve) if isinstance(curve, np.ndarray) else tuple(down(place) for place in curve)
            for name, curve in marks.curves.items()
        }
        return Landmarks(points, curves, marks.pinned)


def coarse_head(head: Head) -> CoarseHead | None:
    """A large head on its coarser level, kept with it; None for one that is not large, or has no such level."""
    known: CoarseHead | None = vars(head).get("coarser")
    if known is not None and known.fine is head:
        return known
    level = coarse_of(head.surface)
    if level is None:
        return None
    found = vars(head)["coarser"] = CoarseHead(head, level, _made(head, level, known))
    if head.landmarks:
        marks = found.landmarks_down(head.landmarks)
        coarse = with_anatomy_of(found.head.with_(landmarks=marks), found.head)
        found = vars(head)["coarser"] = replace(found, head=coarse)
    return found


def seen_coarse(head: Head) -> Head:
    """The head on its coarser level where it is large and has one, else itself: for what is told of it in words."""
    found = coarse_head(head)
    return head if found is None else found.head


def _made(head: Head, level: Coarse, known: CoarseHead | None) -> Head:
    """The head at a level, without landmarks; what an earlier one of the same surface shares with it is shared."""
    before = {} if known is None else {
        id(fine): coarse for fine, coarse in zip(known.fine.shapes, known.head.shapes, strict=True)
    }  # fmt: skip

    def shape(fine: Shape) -> Shape:
        if id(fine) in before:
            return before[id(fine)]
        between = tuple(InBetween(each.at, read_only(level.down(each.delta))) for each in fine.inbetweens)
        return Shape(fine.name, read_only(level.down(fine.delta)), between, fine.is_head)

    def faces(named: Mapping[str, NDArray]) -> dict[str, NDArray]:
        return {name: level.faces_down(chosen, head.polygons.n_faces) for name, chosen in named.items()}

    shapes = tuple(shape(each) for each in head.shapes)
    parts = tuple(replace(part, vertices=level.vertices_down(part.vertices)) for part in head.parts)
    coarse = Head(
        head.name, level.surface.polygons, level.surface.positions, shapes, parts, faces(head.groups),
        faces(head.materials), unit=head.unit, neutral_name=head.neutral_name, path=head.path, axes=head.axes,
    )  # fmt: skip
    vars(coarse)["surface"] = level.surface
    same = known is not None and len(before) == len(shapes) and all(id(each) in before for each in head.shapes)
    return with_anatomy_of(coarse, known.head) if known is not None and same else coarse
