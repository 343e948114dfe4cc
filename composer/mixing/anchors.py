"""Anchors: the places on the skin from which the vertices of parts take their masks.

A region lies on the skin; an eyeball or a tooth does not. A rigid part has one anchor, so that it moves as one piece:
a part that follows the jaw is anchored at the chin (gnathion), an eyeball at the centre of its lids. A part bound to
the surface, such as lashes, has one anchor a vertex: among the places of skin that the part touches, the one whose
motion it shares (`composer.head.understand.bound`). The tip of a lash takes the anchor of its root. Without landmarks
a rigid part is anchored at the skin vertex nearest to its centre, and a part that follows the jaw at the nearest skin
that moves with the jaw. On a head without skin nothing is anchored and every vertex keeps its own mask.

An anchor decides which mask values a vertex gets. How far the vertex moves is given by the shape's own displacement
there: a part of the skull that no shape moves stays in place. What is bound to the skin and moves with it also goes
along with the skin under it where a mask changes (`composer.mixing.standing`). A piece that the library's shapes leave
behind where the skin moves does not: there the nearest skin is no ground.
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
"""A landmark anchors a part whose centre lies within this fraction of the head's diagonal. A design choice, no
source.
"""
AS_THE_JAW, FAR = 0.15, 0.6
"""Skin moves with the jaw if it differs from the jaw's rigid motion by at most the first fraction of that motion,
and moves at least the second fraction of the largest such motion. A design choice, no source.
"""

ALONG = 0.5
"""A bound piece goes along with the skin if its roots stray from the motion of the skin under them by at most this
fraction of that motion, in the mean of squares over all shapes. A design choice, no source.
"""

Anchor = tuple[NDArray[np.int32], NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class Anchors:
    """Anchors of p `vertices` (p,) of parts: skin vertices `corners` (p, 3) with weights `bary` (p, 3), whether a
    vertex goes `along` (p,) with the skin there, and whether it `grows` (p,) there, as the root of a hair does."""

    vertices: NDArray[np.int32]
    corners: NDArray[np.int32]
    bary: NDArray[np.float64]
    along: NDArray[np.bool_]
    grows: NDArray[np.bool_]

    def lift(self, mask: NDArray) -> NDArray[np.float64]:
        """(n,) the mask (n,) in [0, 1] with the values of parts taken from their anchors; the skin keeps its own."""
        lifted = np.array(mask, dtype=np.float64)
        lifted[self.vertices] = np.clip((lifted[self.corners] * self.bary).sum(axis=1), 0.0, 1.0)
        return lifted

    def lift_all(self, masks: Mapping[str, NDArray]) -> dict[str, NDArray[np.float64]]:
        """The masks (n,) of a mapping, each lifted."""
        return {name: self.lift(mask) for name, mask in masks.items()}


def anchors(head: Head) -> Anchors:
    """The anchors of all vertices of the head's parts, empty for a head without parts or without skin."""
    per_part: list[Anchors] = []
    if head.skin.any():
        bound = [part.vertices for part in head.parts if part.follows == "surface" and len(part.vertices)]
        if bound:
            vertices = np.concatenate(bound).astype(np.int32)
            places = _on_skin(head, vertices)
            along = _along(head, vertices, places)
            per_part.append(Anchors(vertices, places.corners, places.bary, along, places.grows))
        for part in head.parts:
            if part.follows != "surface" and len(part.vertices):
                corner, weight = _rigid_anchor(head, part)
                tiles, rigid = (len(part.vertices), 1), np.zeros(len(part.vertices), dtype=bool)
                per_part.append(Anchors(part.vertices, np.tile(corner, tiles), np.tile(weight, tiles), rigid, rigid))
    if not per_part:
        none = np.zeros(0, dtype=bool)
        return Anchors(np.zeros(0, np.int32), np.zeros((0, 3), np.int32), np.zeros((0, 3)), none, none)
    fields = ("vertices", "corners", "bary", "along", "grows")
    return Anchors(*(np.concatenate([getattr(part_anchors, field) for part_anchors in per_part]) for field in fields))


def _rigid_anchor(head: Head, part: Part) -> Anchor:
    """The chin for a part that follows the jaw, else the landmark or the skin vertex nearest to the part's centre."""
    centre = head.neutral[part.vertices].mean(axis=0)
    candidates = _landmark_anchors(head, part.follows == "jaw")
    away = [float(np.linalg.norm(head.neutral[corner].T @ weight - centre)) for corner, weight in candidates]
    if away and (part.follows == "jaw" or min(away) <= NEAR * head.diagonal):
        return candidates[int(np.argmin(away))]
    skin = _skin_with_jaw(head, part) if part.follows == "jaw" else np.flatnonzero(head.skin)
    nearest = skin[int(np.argmin(((head.neutral[skin] - centre) ** 2).sum(axis=1)))]
    return np.full(3, nearest, dtype=np.int32), np.array([1.0, 0.0, 0.0])


def _skin_with_jaw(head: Head, part: Part) -> NDArray[np.int64]:
    """The skin vertices that move with a part in the shape that moves it furthest; all skin if there are none."""
    skin = np.flatnonzero(head.skin)
    rest = head.neutral[part.vertices]
    shape = max(head.expressions, key=lambda each: float(np.abs(each.delta[part.vertices]).max()), default=None)
    if shape is None or len(rest) < 3 or not shape.delta[part.vertices].any():
        return skin
    jaw = similarity(rest, rest + shape.delta[part.vertices], scaled=False)
    carried = jaw(head.neutral[skin]) - head.neutral[skin]
    jaw_motion = np.linalg.norm(carried, axis=1)
    difference = np.linalg.norm(carried - shape.delta[skin], axis=1)
    follows = difference <= AS_THE_JAW * jaw_motion
    along = follows & (jaw_motion >= FAR * jaw_motion[follows].max(initial=0.0))
    return skin[along] if along.any() else skin


def _on_skin(head: Head, vertices: NDArray) -> Bound:
    """The places of the skin to which the vertices (k,) of bound parts belong."""
    triangles = head.polygons.triangles
    skin = triangles[head.skin[triangles].all(axis=1)]
    size = float(np.linalg.norm(np.ptp(head.neutral[head.skin], axis=0)))
    return bound_to_skin(head.neutral, skin, head.expressions, vertices, head.polygons.components[vertices], size)


def _along(head: Head, vertices: NDArray, places: Bound) -> NDArray[np.bool_]:
    """(k,) whether the piece of each bound vertex (k,) moves with the skin on which its roots stand."""
    number = np.unique(head.polygons.components[vertices], return_inverse=True)[1].reshape(-1)
    roots = np.flatnonzero(places.root)
    at, bary, own = places.corners[roots], places.bary[roots], vertices[roots]
    strays, moves = np.zeros(len(roots)), np.zeros(len(roots))
    for shape in head.expressions:
        under = np.einsum("ki,kix->kx", bary, shape.delta[at])
        off = shape.delta[own] - under
        strays += np.einsum("kx,kx->k", off, off)
        moves += np.einsum("kx,kx->k", under, under)
    count = int(number.max(initial=-1)) + 1
    stray, move = (np.bincount(number[roots], weights=each, minlength=count) for each in (strays, moves))
    return np.asarray((stray <= ALONG**2 * move)[number])


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
