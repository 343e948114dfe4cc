"""The rotation, translation and, if wished, uniform scale that bring points onto others, in least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Similarity:
    """x -> scale * rotation @ x + shift; `rotation` (3, 3) proper, `shift` (3,)."""

    rotation: Points
    shift: Points
    scale: float = 1.0

    def __call__(self, points: ArrayLike) -> Points:
        """(n, 3) points moved."""
        return self.vectors(points) + self.shift

    def vectors(self, directions: ArrayLike) -> Points:
        """(n, 3) displacements turned and scaled."""
        return self.scale * self.turn(directions)

    def turn(self, directions: ArrayLike) -> Points:
        """(n, 3) directions turned, their lengths kept."""
        return np.asarray(directions, dtype=np.float64) @ self.rotation.T

    def inverse(self) -> Similarity:
        """The motion back."""
        back = self.rotation.T
        return Similarity(back, -(back @ self.shift) / self.scale, 1.0 / self.scale)

    @property
    def angle_deg(self) -> float:
        """How far the rotation turns, degrees in [0, 180]."""
        sine = np.linalg.norm(self.rotation - self.rotation.T) / np.sqrt(8.0)
        return float(np.degrees(np.arctan2(sine, (np.trace(self.rotation) - 1.0) / 2.0)))


def similarity(
    source: NDArray, target: NDArray, weights: NDArray | None = None, scaled: bool = True
) -> Similarity:  # fmt: skip
    """The motion that brings `source` (m, 3) onto `target` (m, 3) best, `weights` (m,) not negative, in any unit.

    Umeyama, Least-squares estimation of transformation parameters between two point patterns, 1991. With `scaled`
    False the scale is 1. Fewer than three points, or points on a line, give one of the motions that fit.

    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> turned = 2.0 * square[:, [1, 0, 2]] * [-1, 1, 1] + [5, 0, 0]  # a quarter turn about z, twice as large
    >>> motion = similarity(square, turned)
    >>> round(motion.scale, 9), round(motion.angle_deg, 6), motion(square).round(9).tolist() == turned.tolist()
    (2.0, 90.0, True)
    """
    w = np.full(len(source), 1.0) if weights is None else np.asarray(weights, dtype=np.float64)
    total = float(w.sum())
    if not total > 0:
        return Similarity(np.eye(3), np.zeros(3))
    w = w / total
    centre, other_centre = w @ source, w @ target
    a, b = source - centre, target - other_centre
    u, s, vt = np.linalg.svd((b * w[:, None]).T @ a)
    sign = np.array([1.0, 1.0, np.sign(np.linalg.det(u @ vt)) or 1.0])
    rotation = (u * sign) @ vt
    spread = float(w @ (a * a).sum(axis=1))
    scale = float(s @ sign) / spread if scaled and spread > 0 else 1.0
    return Similarity(rotation, other_centre - scale * rotation @ centre, scale)


def is_mirrored(source: NDArray, target: NDArray) -> bool:
    """Whether `target` (m, 3) is `source` (m, 3) with left and right exchanged: a mirror image of it, moved as it
    may be, leaves less than a third (our choice) of what `target` itself leaves in RMS. Flat points never are.
    """

    def left(other: NDArray) -> float:
        return float(np.linalg.norm(other - similarity(source, other)(source)))

    return left(np.asarray(target) * (-1.0, 1.0, 1.0)) < left(target) / 3.0
