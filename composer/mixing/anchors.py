"""Where the vertices of parts take their masks from: places on the skin that stand in for them.

A region is a place on the skin, and an eyeball or a tooth lies beside it. A part that is rigid has one anchor, so
that it moves as one piece: what follows the jaw is anchored at the chin (gnathion), an eyeball at the centre of its
lids. A part that is bound to the surface, such as lashes, has one anchor a vertex: of the places of the skin that it
touches the one whose motion it shares (`composer.head.understand.bound`), and for a lash's tip that of its root.
Without landmarks a rigid part is anchored at the skin vertex nearest to its centre, and what follows the jaw at the
nearest skin that moves as the jaw does; on a head without skin, nothing is anchored and every vertex keeps its own
mask. Anchors say which masks a vertex gets, never that it moves: it
moves by the displacement that the shape has at it, so what follows the skull and has none stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import similarity
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks
from composer.head.understand.bound import Bound, bound_to_skin

NEAR = 0.15
"""A landmark anchors a part whose centre lies within this fraction of the head's diagonal."""
AS_THE_JAW, FAR = 0.15, 0.6
"""Skin that moves as the jaw does strays from its motion by at most this share of it, and moves at least this share of
what the skin furthest from the hinge does.
"""

Anchor = tuple[NDArray[np.int32], NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class Anchors:
    """For each of p vertices of parts, (p,) `vertices`: skin vertices `corners` (p, 3) at weights `bary` (p, 3)."""

    vertices: NDArray[np.int32]
    corners: NDArray[np.int32]
    bary: NDArray[np.float64]

    def lift(self, mask: NDArray) -> NDArray[np.float64]:
        """(n,) the mask with its values at the parts taken from their anchors; the skin's are kept."""
        lifted = np.array(mask, dtype=np.float64)
        lifted[self.vertices] = np.clip((lifted[self.corners] * self.bary).sum(axis=1), 0.0, 1.0)
        return lifted

    def lift_all(self, masks: Mapping[str, NDArray]) -> dict[str, NDArray[np.float64]]:
        """Every mask of a mapping lifted."""
        return {name: self.lift(mask) for name, mask in masks.items()}


def anchors(head: Head) -> Anchors:
    """The anchors of all vertices of the head's parts, empty for a head without parts or without skin."""
    made: list[Anchors] = []
    if head.skin.any():
        bound = [part.vertices for part in head.parts if part.follows == "surface" and len(part.vertices)]
        if bound:
            vertices = np.concatenate(bound).astype(np.int32)
            found = _on_skin(head, vertices)
            made.append(Anchors(vertices, found.corners, found.bary))
        for part in head.parts:
            if part.follows != "surface" and len(part.vertices):
                corner, weight = _rigid_anchor(head, part)
                tiles = (len(part.vertices), 1)
                made.append(Anchors(part.vertices, np.tile(corner, tiles), np.tile(weight, tiles)))
    if not made:
        return Anchors(np.zeros(0, np.int32), np.zeros((0, 3), np.int32), np.zeros((0, 3)))
    return Anchors(*(np.concatenate([getattr(one, name) for one in made]) for name in ("vertices", "corners", "bary")))


def _rigid_anchor(head: Head, part: Part) -> Anchor:
    """One anchor: the chin for what follows the jaw, else the landmark or the skin vertex nearest to the centre."""
    centre = head.neutral[part.vertices].mean(axis=0)
    candidates = _landmark_anchors(head, part.follows == "jaw")
    away = [float(np.linalg.norm(head.neutral[corner].T @ weight - centre)) for corner, weight in candidates]
    if away and (part.follows == "jaw" or min(away) <= NEAR * head.diagonal):
        return candidates[int(np.argmin(away))]
    skin = _skin_with_jaw(head, part) if part.follows == "jaw" else np.flatnonzero(head.skin)
    nearest = skin[int(np.argmin(((head.neutral[skin] - centre) ** 2).sum(axis=1)))]
    return np.full(3, nearest, dtype=np.int32), np.array([1.0, 0.0, 0.0])


def _skin_with_jaw(head: Head, part: Part) -> NDArray[np.int64]:
    """The skin vertices that go along with a part in the shape that moves it furthest; all where none does."""
    skin = np.flatnonzero(head.skin)
    rest = head.neutral[part.vertices]
    shape = max(head.shapes, key=lambda each: float(np.abs(each.delta[part.vertices]).max()), default=None)
    if shape is None or len(rest) < 3 or not shape.delta[part.vertices].any():
        return skin
    jaw = similarity(rest, rest + shape.delta[part.vertices], scaled=False)
    carried = jaw(head.neutral[skin]) - head.neutral[skin]
    far = np.linalg.norm(carried, axis=1)
    off = np.linalg.norm(carried - shape.delta[skin], axis=1)
    along = (off <= AS_THE_JAW * far) & (far >= FAR * far[off <= AS_THE_JAW * far].max(initial=0.0))
    return skin[along] if along.any() else skin


def _on_skin(head: Head, vertices: NDArray) -> Bound:
    """The places of the skin that the vertices (k,) of bound parts go with."""
    triangles = head.polygons.triangles
    skin = triangles[head.skin[triangles].all(axis=1)]
    size = float(np.linalg.norm(np.ptp(head.neutral[head.skin], axis=0)))
    return bound_to_skin(head.neutral, skin, head.shapes, vertices, head.polygons.components[vertices], size)


def _landmark_anchors(head: Head, jaw: bool) -> list[Anchor]:
    """The places that can anchor a rigid part: the chin, or the centres of the lids and the base of the nose."""
    marks = head.landmarks
    if marks is None:
        return []
    groups: list[tuple[str, ...]] = [("gnathion",)] if jaw else [("subnasale",)]
    if not jaw:
        for side in ("left", "right"):
            lids = (f"palpebrale_superius_{side}", f"palpebrale_inferius_{side}")
            corners = (f"exocanthion_{side}", f"endocanthion_{side}")
            groups.append(lids if all(name in marks.points for name in lids) else corners)
    return [_mean_of(head, marks, names) for names in groups if all(name in marks.points for name in names)]


def _mean_of(head: Head, marks: Landmarks, names: tuple[str, ...]) -> Anchor:
    skin = np.flatnonzero(head.skin)
    corner = np.empty(3, dtype=np.int32)
    for i in range(3):
        place = marks.position(names[min(i, len(names) - 1)], head.neutral)
        corner[i] = skin[int(np.argmin(((head.neutral[skin] - place) ** 2).sum(axis=1)))]
    weight = np.zeros(3)
    weight[: len(names)] = 1.0 / len(names)
    return corner, weight
