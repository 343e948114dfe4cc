"""The rotation, translation and optional uniform scale that bring points onto others, in least squares.

Umeyama 1991, "Least-squares estimation of transformation parameters between two point patterns" (IEEE PAMI 13). With
the scale at 1 it is the rotation of Kabsch 1976, "A solution for the best rotation to relate two sets of vectors":
`similarity(..., scaled=False)` gives a rigid motion.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ON_A_LINE = 1e-9
"""Points lie on one line where the second singular value of their covariance is below this share of the first: the
rounding of float64 for points that lie on a line exactly (no unit)."""


@dataclass(frozen=True, eq=False)
class Similarity:
    """x -> scale * rotation @ x + shift; `rotation` (3, 3) proper, `shift` (3,) in the unit of the points."""

    rotation: Floats
    shift: Floats
    scale: float = 1.0

    def __call__(self, points: ArrayLike) -> Floats:
        """(n, 3) points moved."""
        return self.vectors(points) + self.shift

    def vectors(self, directions: ArrayLike) -> Floats:
        """(n, 3) displacements turned and scaled."""
        return self.scale * self.turn(directions)

    def turn(self, directions: ArrayLike) -> Floats:
        """(n, 3) directions turned, their lengths kept."""
        return np.asarray(directions, dtype=np.float64) @ self.rotation.T

    def inverse(self) -> Similarity:
        """The motion back."""
        back = self.rotation.T
        return Similarity(back, -(back @ self.shift) / self.scale, 1.0 / self.scale)

    @property
    def angle_deg(self) -> float:
        """How far the rotation turns, degrees in [0, 180]."""
        return math.degrees(axis_and_angle(self.rotation)[1])


def similarity(
    source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None, scaled: bool = True
) -> Similarity:
    """The motion that brings `source` (m, 3) onto `target` (m, 3) best, in any one unit: Umeyama 1991, eqs. 39 to 43.

    It minimises sum of w |s R x + t - y|^2 over proper rotations R, shifts t and, with `scaled`, scales s; with
    `scaled=False` the scale is 1. `weights` (m,) are not negative and need not sum to one. No points, or weights
    that are all zero, give the identity. Points that coincide or lie on one line give one of the motions that fit
    (`is_determined` is then false); points that coincide keep the scale 1. Raises nothing.

    >>> import numpy as np
    >>> corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 0]])
    >>> move = similarity(corners, 3.0 * corners + [5.0, 0, 0])
    >>> round(move.scale, 6), move.shift.round(6).tolist()
    (3.0, [5.0, 0.0, 0.0])
    """
    a, b, share, centre, goal = _centred(source, target, weights)
    if not len(share):
        return Similarity(np.eye(3), np.zeros(3))
    rotation, values = nearest_rotation((b * share[:, None]).T @ a)
    spread = float(share @ (a * a).sum(axis=1))
    scale = float(values.sum()) / spread if scaled and spread > 0 else 1.0
    return Similarity(rotation, goal - scale * rotation @ centre, scale)


def is_determined(source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None) -> bool:
    """Whether the best rotation from `source` (m, 3) to `target` (m, 3) is unique: neither side, under `weights` (m,),
    lies on one line or in one point."""
    a, b, share, _, _ = _centred(source, target, weights)
    values = np.linalg.svd((b * share[:, None]).T @ a, compute_uv=False)
    return bool(values[1] > ON_A_LINE * values[0])


def nearest_rotation(matrices: NDArray) -> tuple[Floats, Floats]:
    """(..., 3, 3) the proper rotation R that maximises trace(R^T M) for each of `matrices` (..., 3, 3), and the
    singular values (..., 3) of M, the last one negative where M mirrors: their sum is that trace.

    With M = sum of y x^T it is the rotation that takes the vectors x to y best (Umeyama 1991, the lemma).
    """
    u, values, vt = np.linalg.svd(matrices)
    mirrored = np.linalg.det(u) * np.linalg.det(vt) < 0.0
    u[..., 2] *= np.where(mirrored, -1.0, 1.0)[..., None]
    values[..., 2] *= np.where(mirrored, -1.0, 1.0)
    return u @ vt, values


def axis_and_angle(rotation: NDArray) -> tuple[Floats, float]:
    """Unit axis (3,) and angle in [0, pi] radians of a rotation (3, 3); the x axis where the angle is 0."""
    twice = np.array(
        [rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]]
    )
    sine, cosine = 0.5 * float(np.linalg.norm(twice)), 0.5 * (float(np.trace(rotation)) - 1.0)
    if sine > 1e-8:
        return twice / (2.0 * sine), math.atan2(sine, cosine)
    if cosine > 0.0:
        return np.array([1.0, 0.0, 0.0]), 0.0
    column = int(np.argmax(np.diag(rotation)))
    axis = rotation[:, column] + np.eye(3)[column]
    return axis / np.linalg.norm(axis), math.pi


def is_mirrored(source: NDArray, target: NDArray) -> bool:
    """Whether `target` (m, 3) is `source` (m, 3) with left and right exchanged: the similarity from `source` to the
    mirror image of `target` has less than a third (our choice) of the residual of that to `target` itself. Flat points
    never are.
    """

    def residual(other: NDArray) -> float:
        return float(np.linalg.norm(other - similarity(source, other)(source)))

    return residual(np.asarray(target) * (-1.0, 1.0, 1.0)) < residual(target) / 3.0


def _centred(
    source: ArrayLike, target: ArrayLike, weights: ArrayLike | None
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Both sides (m, 3) about their weighted means, the weights (m,) summing to one (empty where all are zero), and the
    two means (3,)."""
    x, y = np.asarray(source, dtype=np.float64), np.asarray(target, dtype=np.float64)
    w = np.full(len(x), 1.0) if weights is None else np.asarray(weights, dtype=np.float64)
    total = float(w.sum())
    if not total > 0:
        return np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), np.zeros(3), np.zeros(3)
    share = w / total
    centre, goal = share @ x, share @ y
    return x - centre, y - goal, share, centre, goal
