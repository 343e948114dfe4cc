"""Carrying what is not skin: eyeballs, teeth, gums and tongue as rigid pieces, lashes with the skin they grow from.

A piece's movement is split into the rigid motion nearest to it and what is left. The rotation is the old head's,
turned as the new head stands; the piece turns about its own centre there, so an eyeball that looks aside still does
so about the middle of the new one. The way its centre goes is scaled by the heads' sizes or, for what the jaw
carries, by how far the new chin goes where the old one goes with it. A piece that stays, stays.

What is bound to the surface goes with the place of the skin beneath its root; how it moves about that place is
turned and scaled like the skin there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.frames import Similarity, similarity_between
from composer.head.head import Head, Part
from composer.head.parts import components_of
from composer.mixing.anchors import anchors
from composer.mixing.hinge_estimate import rigid_motion

Floats = NDArray[np.float64]
ROOTED = 0.15
"""Of a piece's reach from the skin: vertices this near to it are its roots."""
JAW_RANGE = 2.0
"""A jaw goes at most this many times as far, or as short, as the heads' sizes say."""


@dataclass(frozen=True, eq=False)
class _Rigid:
    """A rigid piece: vertices (k,), old places about the old centre (k, 3), new ones about the new, and its anchor on
    the skin where the jaw carries it."""

    vertices: NDArray[np.int32]
    old: Floats
    new: Floats
    centre: Floats
    chin: int | None


@dataclass(frozen=True, eq=False)
class _Bound:
    """A piece bound to the skin: vertices (k,), the places of their roots as corners (k, 3) at weights (k, 3), and
    what turns and scales their movement about the root (k, 3, 3)."""

    vertices: NDArray[np.int32]
    corners: NDArray[np.int32]
    bary: Floats
    turn: Floats


class CarriedParts:
    """Displacements of the parts of `source` for the neutral `target` (n, 3), given the skin's."""

    def __init__(self, source: Head, target: NDArray, likeness: Similarity, turned: bool) -> None:
        """`likeness` lays the old head on the new; with `turned` False, displacements keep their directions."""
        self._likeness = likeness
        self._rotation = likeness.rotation if turned else np.eye(3)
        self._rigid: list[_Rigid] = []
        self._bound: list[_Bound] = []
        for part in source.parts:
            if not len(part.vertices):
                continue
            if part.follows == "surface" and source.skin.any():
                self._bound.append(_bound(source, target, part, likeness.scale, turned))
            else:
                self._rigid.append(_rigid(source, target, part))

    def __call__(self, delta: NDArray, carried: Floats) -> Floats:
        """`carried` (n, 3), which holds the skin's new displacement, with that of the parts put in."""
        for part in self._rigid:
            carried[part.vertices] = self._moved(part, delta, carried)
        for bound in self._bound:
            here = np.einsum("ki,kij->kj", bound.bary, delta[bound.corners])
            there = np.einsum("ki,kij->kj", bound.bary, carried[bound.corners])
            carried[bound.vertices] = there + np.einsum("kij,kj->ki", bound.turn, delta[bound.vertices] - here)
        return carried

    def _moved(self, part: _Rigid, delta: NDArray, carried: Floats) -> Floats:
        moved = delta[part.vertices]
        if not moved.any():
            return np.zeros_like(moved)
        weight = np.ones(len(moved))
        rotation, shift, values = rigid_motion(part.old, part.old + moved, weight)
        if values[1] <= 1e-9 * values[0]:
            rotation, shift = np.eye(3), moved.mean(axis=0)
        left = moved - (part.old @ rotation.T + shift - part.old)
        base, scale = self._rotation, self._likeness.scale
        turned = base @ rotation @ base.T
        way = scale * self._further(part.chin, delta, carried) * (base @ shift)
        return part.new @ turned.T - part.new + way + scale * (left @ base.T)

    def _further(self, chin: int | None, delta: NDArray, carried: Floats) -> float:
        """How many times as far as the heads' sizes say the jaw goes."""
        if chin is None or not delta[chin].any():
            return 1.0
        plain = self._likeness.scale * (self._rotation @ delta[chin])
        times = float(carried[chin] @ plain) / float(plain @ plain)
        return float(np.clip(times, 1.0 / JAW_RANGE, JAW_RANGE))


def _rigid(source: Head, target: NDArray, part: Part) -> _Rigid:
    old, new = source.neutral[part.vertices], target[part.vertices]
    centre = old.mean(axis=0)
    if part.name.lower().startswith("eye"):
        centre = ball_centre(old)
    there = similarity_between(old, new).points(centre[None])[0]
    chin = None
    if part.follows == "jaw" and source.skin.any():
        place = anchors(source.with_(parts=(part,)))
        chin = int(place.corners[0, int(np.argmax(place.bary[0]))])
    return _Rigid(part.vertices, old - centre, new - there, there, chin)


def ball_centre(points: NDArray) -> Floats:
    """(3,) the centre of the ball that most of the points (k, 3) lie on: least squares, reweighted so that a cornea
    that stands out of it does not count (Pratt 1987 for the linear fit; weights of Cauchy). The mean where flat.
    """
    middle = points.mean(axis=0)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    weight = np.ones(len(points))
    centre = middle
    for _ in range(20):
        system = np.column_stack([2.0 * (points - middle), np.full(len(points), size)]) * weight[:, None]
        known = ((points - middle) ** 2).sum(axis=1) * weight
        if np.linalg.matrix_rank(system) < 4:
            return middle
        centre = middle + np.linalg.lstsq(system, known, rcond=None)[0][:3]
        away = np.linalg.norm(points - centre, axis=1)
        off = away - np.median(away)
        width = max(3.0 * float(np.median(np.abs(off))), 1e-6 * size)
        weight = 1.0 / np.sqrt(1.0 + (off / width) ** 2)
    return centre


def _bound(source: Head, target: NDArray, part: Part, scale: float, turned: bool) -> _Bound:
    place = anchors(source.with_(parts=(part,)))
    vertices, corners, bary = place.vertices, place.corners, place.bary
    root = _roots(source, vertices, corners, bary)
    corners, bary = corners[root], bary[root]
    turn = np.tile(scale * np.eye(3), (len(vertices), 1, 1))
    if turned:
        piece = components_of(source.polygons)[0][vertices]
        for each in np.unique(piece):
            own = vertices[piece == each]
            like = similarity_between(source.neutral[own], target[own])
            turn[piece == each] = like.scale * like.rotation
    return _Bound(vertices, corners, bary, turn)


def _roots(source: Head, vertices: NDArray, corners: NDArray, bary: Floats) -> NDArray[np.int64]:
    """(k,) for each of the bound `vertices` (k,) which of them is the root that it hangs on."""
    from scipy.spatial import cKDTree

    at = source.neutral[vertices]
    away = np.linalg.norm(at - np.einsum("ki,kij->kj", bary, source.neutral[corners]), axis=1)
    piece = components_of(source.polygons)[0][vertices]
    root = np.arange(len(vertices))
    for each in np.unique(piece):
        own = np.flatnonzero(piece == each)
        reach = away[own].min() + ROOTED * float(np.ptp(away[own]))
        roots = own[away[own] <= reach]
        root[own] = roots[cKDTree(at[roots]).query(at[own])[1]]
    return root
