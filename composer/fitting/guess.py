"""Landmarks of a sculpt guessed from a few that are given, to be looked at and corrected rather than trusted.

The given pairs, and their mirror images about the plane to which they take the head's midplane, carry the head's
landmarks over: by a similarity, and what that leaves at the pairs spread about them by Gaussians (radial basis
functions; Wendland, Scattered Data Approximation, 2005, chapter 6), so that far from every pair the similarity holds.
Each guess is then the place of the sculpt nearest to it, unless that is so far away, or so far beyond an edge of the
sculpt, that the sculpt does not have the place at all, as a scan has no back of the head: then there is no guess.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

from composer.errors import MoueError
from composer.fitting.align import Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.head.head import Head
from composer.head.places import Place, SurfacePoint, resolve

LEAST = 3
SPREAD = 0.16
"""Of the head's diagonal: how far a pair's own deviation reaches."""
SMOOTHING = 1e-3
FAR, BEYOND = 0.06, 0.015
"""Of the head's size on the sculpt: how far from the sculpt a guess may be, and how far beyond an edge of it."""
LEFT, RIGHT = "_left", "_right"
Rows = NDArray[np.float64]


def guess_landmarks(head: Head, sculpt: ClosestSurface, given: Mapping[str, Place]) -> dict[str, SurfacePoint]:
    """A place on the sculpt for every landmark point of the head that is not among `given`, by name; those that the
    sculpt does not have are left out.

    `given` are places on the sculpt of landmarks that the head has too; at least three that do not lie on a line.
    Raises MoueError for fewer, and where the head has no landmarks.
    """
    warp = _Warp(head, sculpt, given)
    marks = warp.marks
    wanted = [name for name in marks.points if name not in given]
    if not wanted:
        return {}
    found, there = warp.on_sculpt(np.array([marks.position(name, head.neutral) for name in wanted]))
    return {name: place for name, place, is_there in zip(wanted, found, there, strict=True) if is_there}


def carried_by(head: Head, sculpt: ClosestSurface, given: Mapping[str, Place], points: Rows) -> Rows:
    """(k, 3) points of the head where the given landmarks say that they stand on the sculpt's side, not yet on its
    surface. Raises MoueError as `guess_landmarks`."""
    return _Warp(head, sculpt, given)(np.asarray(points, dtype=np.float64))


class _Warp:
    """Where points of the head lie on the sculpt, as far as the given pairs say."""

    def __init__(self, head: Head, sculpt: ClosestSurface, given: Mapping[str, Place]) -> None:
        if not head.landmarks:
            raise MoueError(f"head {head.name!r} has no landmarks to guess from", head.path)
        self.marks = head.landmarks
        known = [name for name in given if name in self.marks.points]
        if len(known) < LEAST:
            raise MoueError(f"{len(known)} landmarks are placed", hint="place three or more that do not lie on a line")
        ours = np.array([self.marks.position(name, head.neutral) for name in known])
        theirs = np.array([resolve(given[name], sculpt.positions) for name in known])
        move = similarity(ours, theirs)
        partners = [(i, _partner(name)) for i, name in enumerate(known)]
        partners = [(i, other) for i, other in partners if other in self.marks.points and other not in given]
        if partners:
            turned = np.array([_mirrored(theirs[i], move) for i, _ in partners])
            ours = np.concatenate([ours, [self.marks.position(other, head.neutral) for _, other in partners]])
            theirs = np.concatenate([theirs, turned])
            move = similarity(ours, theirs)
        self._move, self._sculpt, self._size = move, sculpt, head.diagonal * move.scale
        reach = 1.0 / (SPREAD * head.diagonal)
        self._left = RBFInterpolator(
            ours, theirs - move(ours), kernel="gaussian", epsilon=reach, smoothing=SMOOTHING, degree=-1
        )

    def __call__(self, points: Rows) -> Rows:
        """(k, 3) points of the head on the sculpt's side."""
        return self._move(points) + self._left(points)

    def on_sculpt(self, points: Rows) -> tuple[list[SurfacePoint], NDArray[np.bool_]]:
        """The places of the sculpt nearest to where k points of the head come, and (k,) whether it has them at all."""
        near = self._sculpt.closest(self(points))
        far = near.distance > np.where(near.on_border, BEYOND, FAR) * self._size
        return self._sculpt.surface_points(near), ~far


def _mirrored(point: Rows, move: Similarity) -> Rows:
    """(3,) the mirror image of a place of the sculpt about the plane to which the head's midplane x = 0 goes."""
    back = move.inverse()(point[None])[0]
    return move((back * np.array([-1.0, 1.0, 1.0]))[None])[0]


def _partner(name: str) -> str:
    if name.endswith(LEFT):
        return name[: -len(LEFT)] + RIGHT
    return name[: -len(RIGHT)] + LEFT if name.endswith(RIGHT) else ""
