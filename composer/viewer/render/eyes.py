"""Eyeballs as the view paints them: how each is turned by a pose, and where its lids stand before it.

An eyeball is painted by angle from its gaze, so its vertices carry their directions in the ball's own gaze frame and
the pose gives one rotation. The lids' shadow needs no shadow map: the lid curves among the landmarks, seen from the
ball's centre in stereographic projection about z, say for every place of the ball how far below the lid it lies.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import similarity
from composer.head.head import Head, Part
from composer.head.understand.part_words import what_parts_are
from composer.picture.camera import unit
from composer.picture.eyeball import Eyeball, eyeballs_of

Floats = NDArray[np.float64]
MOST = 4
PLACES = np.linspace(-0.75, 0.75, 16)  # where along x the lids' heights are known
_NO_LID = (9.0, -9.0)


class Eyes:
    """The eyeballs of a head, at most four."""

    def __init__(self, head: Head) -> None:
        are = what_parts_are(head)
        found = [part for part in head.parts if are.get(part.name) == "eye" and len(part.vertices) > 8]
        self.parts: tuple[Part, ...] = tuple(found[:MOST])
        self.neutral = [head.neutral[part.vertices] for part in self.parts]
        self.balls: list[Eyeball] = list(eyeballs_of(self.parts, head.neutral))
        self.frames = [_gaze_frame(ball.axis) for ball in self.balls]
        self.lids = [_lids_of(head, ball) for ball in self.balls]
        lids = [curve for pair in self.lids for curve in pair if curve is not None]
        used = [*(part.vertices for part in self.parts), *lids]
        self.vertices = np.unique(np.concatenate(used)).astype(np.int64) if used else np.empty(0, dtype=np.int64)

    def directions(self, n_vertices: int) -> NDArray[np.float32]:
        """(n, 4) at every vertex: where it lies from its ball's centre, in the gaze frame (right, up, ahead), and
        which ball it belongs to; zeros elsewhere.
        """
        out = np.zeros((n_vertices, 4), dtype=np.float32)
        for i, (part, points, ball, axes) in enumerate(
            zip(self.parts, self.neutral, self.balls, self.frames, strict=True)
        ):
            out[part.vertices, :3] = unit(points - ball.centre) @ axes.T
            out[part.vertices, 3] = i
        return out

    def at(self, positions: NDArray) -> tuple[Floats, Floats]:
        """Of a pose (n, 3) mm: the rotations (4, 3, 3) from gaze frames to head space, and the heights (64, 4, 1) of
        the upper and lower lid at `PLACES`, sixteen for each ball.
        """
        turns = np.tile(np.eye(3), (MOST, 1, 1))
        heights = np.zeros((MOST, len(PLACES), 4, 1))
        for i, part in enumerate(self.parts):
            pose = positions[part.vertices].astype(np.float64)
            rotation, centre = _motion(self.neutral[i], pose, self.balls[i].centre)
            turns[i] = rotation @ self.frames[i].T
            for side, (curve, none) in enumerate(zip(self.lids[i], _NO_LID, strict=True)):
                heights[i, :, side, 0] = none if curve is None else _heights(positions[curve] - centre)
        return turns, heights.reshape(-1, 4, 1)


def _gaze_frame(axis: Floats) -> Floats:
    right = unit(np.cross(np.array([0.0, 1.0, 0.0]), axis))
    return np.stack([right, np.cross(axis, right), axis])


def _motion(rest: Floats, pose: Floats, centre: Floats) -> tuple[Floats, Floats]:
    """(3, 3) the rotation of the rigid motion nearest to that of points (k, 3), and where it takes `centre` (3,)."""
    motion = similarity(rest, pose, scaled=False)
    return motion.rotation, motion(centre)


def _heights(from_centre: NDArray) -> Floats:
    """(16,) how high a lid (k, 3) stands at `PLACES`, in stereographic projection about z."""
    seen = unit(np.asarray(from_centre, dtype=np.float64))
    flat = seen[:, :2] / (1.0 + np.maximum(seen[:, 2:], -0.5))
    order = np.argsort(flat[:, 0])
    return np.interp(PLACES, flat[order, 0], flat[order, 1])


def _lids_of(head: Head, ball: Eyeball) -> tuple[NDArray | None, NDArray | None]:
    """The vertices of the upper and the lower lid curve nearest to a ball, within three radii of its centre."""
    out: list[NDArray | None] = []
    for word in ("upper_lid", "lower_lid"):
        best, nearest = None, 3.0 * ball.radius
        for name, curve in (head.landmarks.curves if head.landmarks else {}).items():
            if name.startswith(word) and isinstance(curve, np.ndarray) and len(curve) > 2:
                away = float(np.linalg.norm(head.neutral[curve].mean(axis=0) - ball.centre))
                if away < nearest:
                    best, nearest = curve, away
        out.append(best)
    return out[0], out[1]
