"""Carrying what is not skin: eyeballs, teeth, gums and tongue as rigid pieces, lashes with the skin they grow from.

A piece's movement is split into the rigid motion nearest to it and what is left. The rotation is the old head's,
turned as the new head stands; the piece turns about its own centre there, so an eyeball that looks aside still does
so about the middle of the new one. The way its centre goes is scaled by the amplitude or, for what the jaw
carries, by how far the new chin goes where the old one goes with it. A piece that stays, stays.

What is bound to the surface goes with the place of the skin beneath its root; how it moves about that place is
turned and scaled like the skin there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.contact.ball_height import ball_centre
from composer.fitting.frames import similarity_between
from composer.geometry.rigid import Similarity, is_determined, similarity
from composer.head.head import Head, Part
from composer.head.parts import components_of
from composer.head.understand.part_words import what_parts_are
from composer.mixing.anchors import Anchors, anchors

Floats = NDArray[np.float64]
ROOTED = 0.15
"""Of a piece's reach from the skin: vertices this near to it are its roots."""
JAW_RANGE = 2.0
"""A jaw goes at most this many times as far, or as short, as the amplitude says."""


@dataclass(frozen=True, eq=False)
class RigidPiece:
    """A rigid piece: vertices (k,), centres (3,) on the old and the new head, old places about the old centre (k, 3),
    new ones about the new, the skin vertex it goes along with where the jaw carries it, and whether it is an eyeball.
    """

    vertices: NDArray[np.int32]
    old_centre: Floats
    new_centre: Floats
    old: Floats
    new: Floats
    chin: int | None
    is_eyeball: bool

    def motion(self, delta: NDArray) -> tuple[Floats, Floats]:
        """The rotation (3, 3) about the old centre and the way (3,) of that centre nearest to a displacement (n, 3)."""
        moved = delta[self.vertices]
        if not moved.any():
            return np.eye(3), np.zeros(3)
        if not is_determined(self.old, self.old + moved):  # on a line, or a point: any rotation would do
            return np.eye(3), moved.mean(axis=0)
        motion = similarity(self.old, self.old + moved, scaled=False)
        return motion.rotation, motion.shift


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

    def __init__(
        self, source: Head, target: NDArray, likeness: Similarity, amplitude: float, *, turned: bool
    ) -> None:  # fmt: skip
        """`likeness` lays the old head on the new, where displacements are `amplitude` times as long; with `turned`
        False they keep their directions."""
        self._amplitude = amplitude
        self._rotation = likeness.rotation if turned else np.eye(3)
        beyond = amplitude / likeness.scale if turned else None
        self.rigid: list[RigidPiece] = []
        self._bound: list[_Bound] = []
        told, places = what_parts_are(source), anchors(source)
        for part in source.parts:
            if not len(part.vertices):
                continue
            if part.follows == "surface" and source.skin.any():
                self._bound.append(_bound(source, target, part, places, amplitude, beyond))
            else:
                self.rigid.append(_rigid(source, target, part, places, told[part.name] == "eye"))

    def __call__(self, delta: NDArray, carried: Floats) -> Floats:
        """`carried` (n, 3), which holds the skin's new displacement, with that of the parts put in."""
        for part in self.rigid:
            carried[part.vertices] = self._moved(part, delta, carried)
        for bound in self._bound:
            here = np.einsum("ki,kij->kj", bound.bary, delta[bound.corners])
            there = np.einsum("ki,kij->kj", bound.bary, carried[bound.corners])
            carried[bound.vertices] = there + np.einsum("kij,kj->ki", bound.turn, delta[bound.vertices] - here)
        return carried

    def motion(self, piece: RigidPiece, delta: NDArray, carried: NDArray) -> tuple[Floats, Floats]:
        """The rotation (3, 3) of a piece about its new centre, and the way (3,) that centre goes."""
        rotation, shift = piece.motion(delta)
        further = self._further(piece.chin, delta, carried) if shift.any() else 1.0
        return self._rotation @ rotation @ self._rotation.T, self._amplitude * further * (self._rotation @ shift)

    def _moved(self, piece: RigidPiece, delta: NDArray, carried: Floats) -> Floats:
        moved = delta[piece.vertices]
        if not moved.any():
            return np.zeros_like(moved)
        rotation, shift = piece.motion(delta)
        left = moved - (piece.old @ rotation.T + shift - piece.old)
        turned, way = self.motion(piece, delta, carried)
        return piece.new @ turned.T - piece.new + way + self._amplitude * (left @ self._rotation.T)

    def _further(self, chin: int | None, delta: NDArray, carried: Floats) -> float:
        """How many times as far as the amplitude says the jaw goes."""
        if chin is None or not delta[chin].any():
            return 1.0
        plain = self._amplitude * (self._rotation @ delta[chin])
        times = float(carried[chin] @ plain) / float(plain @ plain)
        return float(np.clip(times, 1.0 / JAW_RANGE, JAW_RANGE))


def _rigid(source: Head, target: NDArray, part: Part, places: Anchors, is_eyeball: bool) -> RigidPiece:
    old, new = source.neutral[part.vertices], target[part.vertices]
    centre = old.mean(axis=0)
    if is_eyeball:
        centre = ball_centre(old)
    there = similarity_between(old, new)(centre[None])[0]
    chin = None
    if part.follows == "jaw" and source.skin.any():
        corners, bary = _anchored(places, part)
        chin = int(corners[0, int(np.argmax(bary[0]))])
    return RigidPiece(part.vertices, centre, there, old - centre, new - there, chin, is_eyeball)


def _bound(
    source: Head, target: NDArray, part: Part, places: Anchors, amplitude: float, beyond: float | None
) -> _Bound:  # fmt: skip
    """A part bound to the skin; displacements are `amplitude` times as long and keep their directions where `beyond` is
    None, else each piece turns and grows as it lies, and by `beyond` besides."""
    vertices = part.vertices
    corners, bary = _anchored(places, part)
    root = _roots(source, vertices, corners, bary)
    corners, bary = corners[root], bary[root]
    turn = np.tile(amplitude * np.eye(3), (len(vertices), 1, 1))
    if beyond is not None:
        piece = components_of(source.polygons)[0][vertices]
        for each in np.unique(piece):
            own = vertices[piece == each]
            like = similarity_between(source.neutral[own], target[own])
            turn[piece == each] = beyond * like.scale * like.rotation
    return _Bound(vertices, corners, bary, turn)


def _anchored(places: Anchors, part: Part) -> tuple[NDArray[np.int32], Floats]:
    """Corners (k, 3) and weights (k, 3) of the places of skin that the vertices of a part are anchored at."""
    order = np.argsort(places.vertices, kind="stable")
    at = order[np.searchsorted(places.vertices, part.vertices, sorter=order)]
    return places.corners[at], places.bary[at]


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
