"""Eyeballs as the view paints them: how each is turned by a pose, and where its lids stand before it.

An eye is painted in its gaze's frame, so its vertices carry their places there, in radii of the ball, and the pose
gives one rotation. The lids' shadow needs no shadow map: the heights of the lids' edges
(`composer.picture.lid_edges`) say for every place of the ball how far below the lid it lies.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import similarity
from composer.head.head import Head, Part
from composer.head.understand.part_words import what_parts_are
from composer.picture.eyeball import Eyeball, eyeballs_of, gaze_frame
from composer.picture.lid_edges import PLACES, heights, lids_of, skin_triangles

Floats = NDArray[np.float64]
MOST = 4


class Eyes:
    """The eyeballs of a head, at most four."""

    def __init__(self, head: Head) -> None:
        are = what_parts_are(head)
        found = [part for part in head.parts if are.get(part.name) == "eye" and len(part.vertices) > 8]
        self.parts: tuple[Part, ...] = tuple(found[:MOST])
        self.neutral = [head.neutral[part.vertices] for part in self.parts]
        self.balls: list[Eyeball] = list(eyeballs_of(self.parts, head.neutral))
        self.frames = [gaze_frame(ball.axis) for ball in self.balls]
        skin = skin_triangles(head.polygons, head.parts) if self.balls else np.empty((0, 3), dtype=np.int64)
        self.lids = [lids_of(ball, head.neutral, skin, head.landmarks) for ball in self.balls]
        edges: list[NDArray] = [lid.corners.ravel() for pair in self.lids if pair is not None for lid in pair]
        used: list[NDArray] = [*(part.vertices for part in self.parts), *edges]
        self.vertices = np.unique(np.concatenate(used)).astype(np.int64) if used else np.empty(0, dtype=np.int64)

    def directions(self, n_vertices: int) -> NDArray[np.float32]:
        """(n, 4) at every vertex: where it lies from its ball's centre, in radii and in the gaze frame (right, up,
        ahead), and which ball it belongs to; zeros elsewhere.
        """
        out = np.zeros((n_vertices, 4), dtype=np.float32)
        for i, (part, points, ball, axes) in enumerate(
            zip(self.parts, self.neutral, self.balls, self.frames, strict=True)
        ):
            out[part.vertices, :3] = (points - ball.centre) @ axes.T / ball.radius
            out[part.vertices, 3] = i
        return out

    def at(self, positions: NDArray) -> tuple[Floats, Floats]:
        """Of a pose (n, 3) mm: the rotations (4, 3, 3) from gaze frames to head space, and the heights (4 x 32, 4, 1)
        of the upper and lower lid at `PLACES`, 32 for each ball.
        """
        turns = np.tile(np.eye(3), (MOST, 1, 1))
        stand = np.zeros((MOST, len(PLACES), 4, 1))
        for i, part in enumerate(self.parts):
            pose = positions[part.vertices].astype(np.float64)
            rotation, centre = _motion(self.neutral[i], pose, self.balls[i].centre)
            turns[i] = rotation @ self.frames[i].T
            stand[i, :, :2, 0] = heights(self.lids[i], positions, centre)
        return turns, stand.reshape(-1, 4, 1)


def _motion(rest: Floats, pose: Floats, centre: Floats) -> tuple[Floats, Floats]:
    """(3, 3) the rotation of the rigid motion nearest to that of points (k, 3), and where it takes `centre` (3,)."""
    motion = similarity(rest, pose, scaled=False)
    return motion.rotation, motion(centre)
