"""The head's own motion, frame by frame: what turns and shifts the skull, whatever the face does.

The first frame begins with the motion on which most of the surface agrees (`composer.geometry.common_motion`), where
what moves often in the library counts less. Each other one begins with the least squares motion from the face of the
frame before (Umeyama 1991), so that a motion of a whole frame changes nothing but that motion. Once the face that the
frame shows is nearly known, the motion from that face to the frame is fitted again, robustly. A frame of which more
than half of the surface does not move at all is of a head at rest. Of a large head a sample of the vertices is enough:
noise of 0.2 mm on 6,000 vertices is 0.005 mm of the motion.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.common_motion import common_motion, is_at_rest, settled_motion
from composer.geometry.rigid import Similarity, axis_and_angle, similarity
from composer.head.head import Head
from composer.head.stabilise import LEAST_DEG, LEAST_MM, skull_weights, vertex_areas
from composer.progress import Progress

Floats = NDArray[np.float64]
AT_REST = Similarity(np.eye(3), np.zeros(3))


SAMPLE = 6000
"""The most vertices that are looked at (our choice)."""


class HeadTracker:
    """Finds the rigid motion that takes the poses of `head` to frames, in mm."""

    def __init__(self, head: Head, progress: Progress | None = None) -> None:
        weights = skull_weights(head, progress)
        tells = np.flatnonzero(weights > 0.0) if (weights > 0.0).any() else np.arange(head.n_vertices)
        self._at = np.sort(np.random.default_rng(0).permutation(tells)[:SAMPLE])
        self.weights: Floats = np.maximum(weights[self._at], 1e-300)
        self._area: Floats = vertex_areas(head)[self._at]
        self.neutral: Floats = head.neutral[self._at]

    def first(self, frame: NDArray, before: NDArray | None = None) -> Similarity:
        """The motion of a frame (n, 3) mm of which nothing is known but the pose (n, 3) mm of the frame before."""
        seen = frame[self._at]
        if is_at_rest(self.neutral, self._area, seen - self.neutral):
            return AT_REST
        if before is None:
            return common_motion(self.neutral, seen, self.weights)
        guess = similarity(before[self._at], seen, self.weights, scaled=False)
        return settled_motion(before[self._at], seen, self.weights, guess)

    def refined(self, pose: NDArray, frame: NDArray, guess: Similarity) -> Similarity:
        """The motion from the pose (n, 3) mm that a frame (n, 3) mm shows, near a `guess`."""
        if guess is AT_REST:
            return guess
        return settled_motion(pose[self._at], frame[self._at], self.weights, guess)

    def matters(self, motion: Similarity) -> bool:
        """Whether a motion turns the head, or shifts its middle, by more than the error of the estimate."""
        middle = np.average(self.neutral, axis=0, weights=self.weights)
        return motion.angle_deg > LEAST_DEG or float(np.linalg.norm(motion(middle[None])[0] - middle)) > LEAST_MM


def quaternions(motions: list[Similarity]) -> Floats:
    """(f, 4) the rotations as unit quaternions w, x, y, z, each of the two that is nearer to the one before.

    >>> from composer.geometry.rigid import Similarity
    >>> quarter = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    >>> quaternions([Similarity(quarter, np.zeros(3))]).round(6).tolist()
    [[0.707107, 0.0, 0.0, 0.707107]]
    """
    found = np.zeros((len(motions), 4))
    for number, motion in enumerate(motions):
        axis, angle = axis_and_angle(motion.rotation)
        found[number] = [np.cos(0.5 * angle), *(np.sin(0.5 * angle) * axis)]
        if number and found[number] @ found[number - 1] < 0.0:
            found[number] *= -1.0
    return found
