"""The face on a head: the skin that a library moves, so that pictures are framed by it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.picture.heat import movement

MOVES = 0.15
"""Skin belongs to the face where a shape moves it by more than this share of the 99th percentile of the movement over
the skin (common practice, no source)."""
MARGIN = 0.10
"""Margin around the face on every side, as a share of its size (our choice)."""
WORTHWHILE = 0.85
"""A face that fills more than this share of the head's height and width is not cropped (our choice)."""


def face_points(head: Head) -> NDArray[np.float64] | None:
    """(8, 3) mm, the corners of a box about the face at rest, with a margin; None where the whole head is the face.

    The face is the skin that a shape moves further than the median of the skin: scans may keep the head's own motion. A
    head without shapes, or one that moves nearly everywhere, is shown whole.
    """
    skin = np.flatnonzero(head.skin)
    if not head.expressions or not len(skin):
        return None
    furthest = np.zeros(len(skin))
    for shape in head.expressions:
        moved = movement(np.zeros(3), shape.delta[skin])
        np.maximum(furthest, moved - np.median(moved), out=furthest)  # without the motion of the whole head
    moving = skin[furthest > MOVES * float(np.percentile(furthest, 99.0))] if furthest.any() else skin[:0]
    if not len(moving):
        return None
    low, high = head.neutral[moving].min(axis=0), head.neutral[moving].max(axis=0)
    if np.all((high - low)[:2] > WORTHWHILE * np.ptp(head.neutral, axis=0)[:2]):
        return None
    return box_about(head.neutral[moving], MARGIN)


def box_about(points: NDArray, margin: float, least: float = 0.0) -> NDArray[np.float64]:
    """(8, 3) the corners of the box about `points` (k, 3) in mm, wider by `margin` times its largest side all round;
    no side is shorter than `least` mm."""
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    centre = 0.5 * (low + high)
    half = np.maximum(0.5 * (high - low) + margin * float(np.max(high - low)), 0.5 * least)
    corners = np.stack(np.meshgrid(*[[-1.0, 1.0]] * 3), axis=-1).reshape(-1, 3)
    return np.asarray(centre + corners * half, dtype=np.float64)
