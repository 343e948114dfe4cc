"""Landmarks of a sculpt guessed from a few given ones. A person looks at them and corrects them.

The given pairs, and their mirror images about the image of the head's midplane, carry the head's landmarks onto the
sculpt: by a similarity, plus Gaussians through its residuals at the pairs (radial basis functions; Wendland 2005,
"Scattered Data Approximation", chapter 6). Far from every pair the similarity alone remains. The guess is the nearest
place of the sculpt. There is no guess where that is too far away, or too far beyond an edge: a scan may have no back of
the head.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.align import Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.head.head import Head
from composer.head.places import Place, SurfacePoint, resolve

LEAST = 3
"""Fewest given landmarks: a similarity needs three."""
SPREAD = 0.16
"""Width of the Gaussians, as a share of the head's diagonal: how far the residual of a pair reaches (our choice)."""
SMOOTHING = 1e-3
"""Smoothing of the radial basis (scipy's `smoothing`, no unit): pairs close to each other may contradict each other a
little (our choice)."""
FAR, BEYOND = 0.06, 0.015
"""Furthest that a guess may lie from the sculpt, and from an edge of it, as shares of the head's diagonal at the
sculpt's size (our choice)."""
LEFT, RIGHT = "_left", "_right"
Rows = NDArray[np.float64]


def guess_landmarks(head: Head, sculpt: ClosestSurface, given: Mapping[str, Place]) -> dict[str, SurfacePoint]:
    """A place on the sculpt for every landmark point of the head that is not in `given`, by name. Landmarks for which
    the sculpt has no place are left out.

    `given` are places on the sculpt of landmarks that the head has too: at least three, not on one line.
    Raises MoueError for fewer, and where the head has no landmarks.
    """
    warp = _Warp(head, sculpt, given)
    marks = warp.marks
    wanted = [name for name in marks.points if name not in given]
    if not wanted:
        return {}
    places, exists = warp.on_sculpt(np.array([marks.position(name, head.neutral) for name in wanted]))
    return {name: place for name, place, known in zip(wanted, places, exists, strict=True) if known}


def carried_by(head: Head, sculpt: ClosestSurface, given: Mapping[str, Place], points: Rows) -> Rows:
    """(k, 3) `points` (k, 3) of the head mapped to the sculpt by the given landmarks; they lie near its surface, not on
    it. Raises MoueError as `guess_landmarks`."""
    return _Warp(head, sculpt, given)(np.asarray(points, dtype=np.float64))


class _Warp:
    """The map from the head to the sculpt that the given pairs define."""

    def __init__(self, head: Head, sculpt: ClosestSurface, given: Mapping[str, Place]) -> None:
        from scipy.interpolate import RBFInterpolator  # only where landmarks are guessed: it takes long to import

        if not head.landmarks:
            raise MoueError(f"head {head.name!r} has no landmarks to guess from", head.path)
        self.marks = head.landmarks
        known = [name for name in given if name in self.marks.points]
        if len(known) < LEAST:
            raise MoueError(f"{len(known)} landmarks are placed", hint="place three or more that do not lie on a line")
        on_head = np.array([self.marks.position(name, head.neutral) for name in known])
        on_sculpt = np.array([resolve(given[name], sculpt.positions) for name in known])
        move = similarity(on_head, on_sculpt)
        partners = [(i, _partner(name)) for i, name in enumerate(known)]
        partners = [(i, other) for i, other in partners if other in self.marks.points and other not in given]
        if partners:
            mirrored = np.array([_mirrored(on_sculpt[i], move) for i, _ in partners])
            on_head = np.concatenate([on_head, [self.marks.position(other, head.neutral) for _, other in partners]])
            on_sculpt = np.concatenate([on_sculpt, mirrored])
            move = similarity(on_head, on_sculpt)
        self._move, self._sculpt, self._size = move, sculpt, head.diagonal * move.scale
        epsilon = 1.0 / (SPREAD * head.diagonal)
        self._residual = RBFInterpolator(
            on_head, on_sculpt - move(on_head), kernel="gaussian", epsilon=epsilon, smoothing=SMOOTHING, degree=-1
        )

    def __call__(self, points: Rows) -> Rows:
        """(k, 3) `points` (k, 3) of the head mapped to the sculpt."""
        return self._move(points) + self._residual(points)

    def on_sculpt(self, points: Rows) -> tuple[list[SurfacePoint], NDArray[np.bool_]]:
        """The places of the sculpt nearest to the images of `points` (k, 3), and (k,) whether they are near enough."""
        near = self._sculpt.closest(self(points))
        far = near.distance > np.where(near.on_border, BEYOND, FAR) * self._size
        return self._sculpt.surface_points(near), ~far


def _mirrored(point: Rows, move: Similarity) -> Rows:
    """(3,) the mirror image of a place of the sculpt about the image of the head's midplane x = 0."""
    back = move.inverse()(point[None])[0]
    return move((back * np.array([-1.0, 1.0, 1.0]))[None])[0]


def _partner(name: str) -> str:
    if name.endswith(LEFT):
        return name[: -len(LEFT)] + RIGHT
    return name[: -len(RIGHT)] + LEFT if name.endswith(RIGHT) else ""
