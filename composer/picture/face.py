"""The face on a head: the skin that a library moves, so that pictures are framed by it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.picture.heat import movement

MOVES = 0.5
"""Skin belongs to the face where a shape moves it by more than this share of the most that the shape moves: the neck
under an opening jaw and the scalp over a raised brow move less (our choice)."""
QUIET = 0.05
"""A shape that moves the skin by less than this share of what the strongest does says nothing of the face (our choice).
"""
MARGIN = 0.06
"""Margin around the face on every side, as a share of its size (our choice)."""
WORTHWHILE = 0.85
"""A face that fills more than this share of the head's height and width is not cropped (our choice)."""


def face_points(head: Head) -> NDArray[np.float64] | None:
    """(k, 3) mm, points about the face at rest and in every shape, with a margin; None where the whole head is the
    face.

    The median of the skin's movement is left out of it: scans may keep the head's own motion. A head without shapes, or
    one that moves nearly everywhere, is shown whole.
    """
    skin = np.flatnonzero(head.skin)
    if not head.expressions or not len(skin):
        return None
    furthest = np.zeros(len(head.expressions))
    for k, shape in enumerate(head.expressions):
        furthest[k] = _own_movement(shape.delta[skin]).max()
    face, reach = np.zeros(len(skin), dtype=bool), []
    for k in np.flatnonzero(furthest > QUIET * furthest.max(initial=0.0)).tolist():
        delta = head.expressions[k].delta[skin]
        moving = _own_movement(delta) > MOVES * furthest[k]
        face |= moving
        reach.append(_outermost(head.neutral[skin[moving]] + delta[moving] - np.median(delta, axis=0)))
    if not face.any():
        return None
    rest = head.neutral[skin[face]]
    if np.all(np.ptp(rest, axis=0)[:2] > WORTHWHILE * np.ptp(head.neutral, axis=0)[:2]):
        return None
    points = np.concatenate([rest, *reach])
    low, high = points.min(axis=0), points.max(axis=0)
    wider = 1.0 + 2.0 * MARGIN * float((high - low).max()) / np.maximum(high - low, 1e-9)
    return np.asarray(0.5 * (low + high) + (points - 0.5 * (low + high)) * wider, dtype=np.float64)


def _own_movement(delta: NDArray) -> NDArray[np.float64]:
    """(k,) mm, how far each place moves beyond the median of all."""
    moved = movement(np.zeros(3), delta)
    return np.asarray(np.maximum(moved - np.median(moved), 0.0), dtype=np.float64)


def _outermost(points: NDArray) -> NDArray:
    """Those of the points (k, 3) that are the furthest along an axis: enough to frame all."""
    return points[np.unique(np.r_[points.argmin(axis=0), points.argmax(axis=0)])]


def box_about(points: NDArray, margin: float, least: float = 0.0) -> NDArray[np.float64]:
    """(8, 3) the corners of the box about `points` (k, 3) in mm, wider by `margin` times its largest side all round;
    no side is shorter than `least` mm."""
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    centre = 0.5 * (low + high)
    half = np.maximum(0.5 * (high - low) + margin * float(np.max(high - low)), 0.5 * least)
    corners = np.stack(np.meshgrid(*[[-1.0, 1.0]] * 3), axis=-1).reshape(-1, 3)
    return np.asarray(centre + corners * half, dtype=np.float64)
