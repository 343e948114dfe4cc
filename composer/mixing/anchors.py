"""Where the vertices of parts take their masks from: places on the skin that stand in for them.

A region is a place on the skin, and an eyeball or a tooth lies beside it. A part that is rigid has one anchor, so
that it moves as one piece: what follows the jaw is anchored at the chin (gnathion), an eyeball at the centre of its
lids. A part that is bound to the surface, such as lashes, has one anchor a vertex: the nearest point of the skin.
Without landmarks a rigid part is anchored at the skin vertex nearest to its centre; on a head without skin, nothing
is anchored and every vertex keeps its own mask. Anchors say which masks a vertex gets, never that it moves: it
moves by the displacement that the shape has at it, so what follows the skull and has none stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.head.landmarks import Landmarks

NEAR = 0.15
"""A landmark anchors a part whose centre lies within this fraction of the head's diagonal."""
CANDIDATES = 8
"""Nearest skin vertices whose polygons are searched for the nearest point of the skin."""

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
        for part in head.parts:
            vertices = np.asarray(part.vertices, dtype=np.int32)
            if not len(vertices):
                continue
            if part.follows == "surface":
                corners, bary = _nearest_skin(head, head.neutral[vertices])
            else:
                corner, weight = _rigid_anchor(head, part)
                corners, bary = np.tile(corner, (len(vertices), 1)), np.tile(weight, (len(vertices), 1))
            made.append(Anchors(vertices, corners, bary))
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
    skin = np.flatnonzero(head.skin)
    nearest = skin[int(np.argmin(((head.neutral[skin] - centre) ** 2).sum(axis=1)))]
    return np.full(3, nearest, dtype=np.int32), np.array([1.0, 0.0, 0.0])


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


def _nearest_skin(head: Head, points: NDArray) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """(p, 3) skin corners and (p, 3) weights of the point of the skin nearest to each of `points` (p, 3) mm.

    Searches the triangles about the nearest few skin vertices, which finds the nearest point wherever triangles
    are not much longer than they lie apart.
    """
    from scipy.spatial import cKDTree

    skin = np.flatnonzero(head.skin)
    triangles = head.polygons.triangles[head.skin[head.polygons.triangles].all(axis=1)]
    near = skin[cKDTree(head.neutral[skin]).query(points, k=min(CANDIDATES, len(skin)))[1].reshape(len(points), -1)]
    corners = np.repeat(near[:, :1], 3, axis=1).astype(np.int32)
    bary = np.tile([1.0, 0.0, 0.0], (len(points), 1))
    best = ((head.neutral[near[:, 0]] - points) ** 2).sum(axis=1)
    starts, at = _triangles_of(triangles, head.polygons)
    for column in range(near.shape[1]):
        first, count = starts[near[:, column]], np.diff(starts)[near[:, column]]
        row = np.repeat(np.arange(len(points)), count)
        step = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
        candidate = triangles[at[np.repeat(first, count) + step]]
        weights = _barycentric_nearest(head.neutral[candidate], points[row])
        squared = ((np.einsum("tij,ti->tj", head.neutral[candidate], weights) - points[row]) ** 2).sum(axis=1)
        order = np.lexsort((squared, row))
        leading = order[np.unique(row[order], return_index=True)[1]]
        better = leading[squared[leading] < best[row[leading]]]
        corners[row[better]], bary[row[better]], best[row[better]] = candidate[better], weights[better], squared[better]
    return corners, bary


def _triangles_of(triangles: NDArray, polygons: Polygons) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where each vertex's triangles begin (n + 1,), and the triangles, one vertex after the other."""
    flat = triangles.ravel()
    starts = np.zeros(polygons.n_vertices + 1, dtype=np.int64)
    np.cumsum(np.bincount(flat, minlength=polygons.n_vertices), out=starts[1:])
    return starts, np.argsort(flat, kind="stable") // 3


def _barycentric_nearest(triangles: NDArray, points: NDArray) -> NDArray[np.float64]:
    """(t, 3) weights of the point nearest to `points` (t, 3) in each triangle (t, 3, 3): inside, or on a side."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    best = np.zeros((len(points), 3))
    squared = np.full(len(points), np.inf)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        side = triangles[:, j] - triangles[:, i]
        length = np.maximum((side**2).sum(axis=1), 1e-300)
        along = np.clip(((points - triangles[:, i]) * side).sum(axis=1) / length, 0.0, 1.0)
        away = ((triangles[:, i] + along[:, None] * side - points) ** 2).sum(axis=1)
        nearer = away < squared
        best[nearer] = 0.0
        best[nearer, i], best[nearer, j] = 1.0 - along[nearer], along[nearer]
        squared = np.minimum(away, squared)
    normal = np.cross(b - a, c - a)
    area = np.maximum((normal**2).sum(axis=1), 1e-300)
    wb = (np.cross(points - a, c - a) * normal).sum(axis=1) / area
    wc = (np.cross(b - a, points - a) * normal).sum(axis=1) / area
    inside = (wb >= 0) & (wc >= 0) & (wb + wc <= 1)
    best[inside] = np.stack([1.0 - wb - wc, wb, wc], axis=1)[inside]
    return best
