"""Shapes that turn: a hinge, and the displacement of a shape that follows it.

A jaw that opens and a lid that closes turn about an axis. Mixing them in a straight line cuts across the arc: at
half the weight of 30 degrees the chin is 3 percent too near to the hinge. With a hinge the angle is `w` times the
whole. With x' = x - origin, axis k, angle t and rigidity r in [0, 1] at each vertex,

    H(w) = r (sin(w t) k x x' + (1 - cos(w t)) k x (k x x')) + w e,    e = delta - the first term at w = 1

which is Rodrigues' rotation (1840) of the rigid share, and in a straight line what rotation does not explain. It is
exact at w = 0 and w = 1. As it is linear in three fields, it mixes, masks and mirrors like any displacement.
How a hinge is found is in `composer.mixing.hinge_estimate`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import read_only


@dataclass(frozen=True, eq=False)
class Hinge:
    """An axis through an origin, the whole angle at weight 1, and how rigidly each vertex follows.

    `axis` (3,) unit; `origin` (3,) mm, a point on it; `angle` in radians, right-handed about the axis, in (-pi, pi);
    `rigidity` (n,) float32 in [0, 1]; `explained` in [0, 1]: the share of the shape's squared displacement that
    the turn alone accounts for.
    """

    axis: NDArray[np.float64]
    origin: NDArray[np.float64]
    angle: float
    rigidity: NDArray[np.float32]
    explained: float = 1.0

    def __post_init__(self) -> None:
        axis = np.array(self.axis, dtype=np.float64)
        length = float(np.linalg.norm(axis))
        if axis.shape != (3,) or not np.isfinite(length) or length == 0.0:
            raise MoueError("a hinge's axis is three numbers, not all zero")
        if not np.isfinite(self.angle) or abs(self.angle) > np.pi:
            raise MoueError(f"a hinge's angle of {np.degrees(self.angle):g} degrees is not within 180 degrees")
        origin = np.array(self.origin, dtype=np.float64)
        if origin.shape != (3,) or not np.isfinite(origin).all():
            raise MoueError("a hinge's origin is three numbers")
        rigidity = np.array(self.rigidity, dtype=np.float32)
        if rigidity.ndim != 1 or not np.isfinite(rigidity).all():
            raise MoueError("a hinge's rigidity is one number a vertex")
        object.__setattr__(self, "axis", read_only(axis if abs(length - 1.0) < 1e-15 else axis / length))
        object.__setattr__(self, "origin", read_only(origin))
        object.__setattr__(self, "rigidity", read_only(rigidity))

    @property
    def angle_deg(self) -> float:
        """The whole angle in degrees."""
        return float(np.degrees(self.angle))


def turn(points: NDArray, axis: NDArray, origin: NDArray, angle: float) -> NDArray[np.float64]:
    """(n, 3) points turned by `angle` (radians, right-handed) about the unit `axis` through `origin`."""
    arm = np.asarray(points, dtype=np.float64) - origin
    sideways, inward = _fields(arm, axis)
    return points + np.sin(angle) * sideways + (1.0 - np.cos(angle)) * inward


def turning_fields(neutral: NDArray, delta: NDArray, hinge: Hinge) -> tuple[NDArray[np.float64], ...]:
    """The three fields (n, 3) in mm that the shape's displacement is linear in: sideways, inward, residual.

    Raises MoueError where the hinge's rigidity is not one number for each vertex of the neutral (n, 3).
    """
    if len(hinge.rigidity) != len(neutral):
        raise MoueError(f"a hinge for {len(hinge.rigidity)} vertices on a head of {len(neutral)}")
    sideways, inward = _fields(neutral - hinge.origin, hinge.axis)
    rigid = hinge.rigidity.astype(np.float64)[:, None]
    sideways *= rigid
    inward *= rigid
    whole = np.sin(hinge.angle) * sideways + (1.0 - np.cos(hinge.angle)) * inward
    return sideways, inward, np.asarray(delta, dtype=np.float64) - whole


def turning_coefficients(angle: float, weight: float) -> tuple[float, float, float]:
    """How much of each of the `turning_fields` there is at `weight`."""
    return (math.sin(weight * angle), 1.0 - math.cos(weight * angle), weight)


def hinge_displacement(neutral: NDArray, delta: NDArray, hinge: Hinge, weight: float) -> NDArray[np.float64]:
    """(n, 3) mm, the displacement H(w) of a shape `delta` (n, 3) of `neutral` (n, 3) that turns about `hinge`.

    >>> neutral = np.array([[0.0, 0.0, 100.0]])  # the chin, 100 mm before the jaw's axis, which is x
    >>> axis, origin, open_ = np.array([1.0, 0.0, 0.0]), np.zeros(3), np.radians(30.0)
    >>> delta = turn(neutral, axis, origin, open_) - neutral
    >>> jaw = Hinge(axis, origin, float(open_), np.ones(1, np.float32))
    >>> half = neutral + hinge_displacement(neutral, delta, jaw, 0.5)
    >>> half.round(3).tolist(), float(np.linalg.norm(half).round(6))  # 15 degrees on, and still 100 mm away
    ([[0.0, -25.882, 96.593]], 100.0)
    """
    fields = turning_fields(neutral, delta, hinge)
    amounts = turning_coefficients(hinge.angle, weight)
    return amounts[0] * fields[0] + amounts[1] * fields[1] + amounts[2] * fields[2]


def _fields(arm: NDArray, axis: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    sideways = np.cross(axis, arm)
    return sideways, np.cross(axis, sideways)
