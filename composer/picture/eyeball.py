"""Eyeballs that look: where an eyeball's centre is, where it gazes, and what colour each place of it has.

The picture of an eye is painted by angle from the gaze axis, so it needs no texture: pupil, iris with its
fibres and dark limbus, then white that warms towards the corners. Mean horizontal diameters in adults: iris
11.7 mm on a ball of 24 mm across, that is a half angle of about 29 degrees (from memory; the range is
narrow).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.picture.camera import unit
from composer.picture.colour import rgb

Floats = NDArray[np.float64]
PUPIL_DEG, IRIS_DEG = 11.0, 28.5
_WHITE, _CORNER = rgb(232, 228, 221), rgb(214, 190, 178)
_IRIS_OUT, _IRIS_IN, _LIMBUS, _PUPIL = rgb(92, 112, 118), rgb(150, 158, 144), rgb(40, 46, 50), rgb(14, 13, 13)


@dataclass(frozen=True, eq=False)
class Eyeball:
    """A ball: `centre` (3,) and `radius` in mm, and the unit `axis` (3,) along which it gazes."""

    centre: Floats
    radius: float
    axis: Floats


def fit_ball(points: Floats) -> tuple[Floats, float]:
    """Centre (3,) and radius of the ball through `points` (k, 3) by linear least squares."""
    middle = points.mean(axis=0)
    local = points - middle
    left = np.concatenate([2.0 * local, np.ones((len(points), 1))], axis=1)
    solution = np.linalg.lstsq(left, np.einsum("ij,ij->i", local, local), rcond=None)[0]
    centre = solution[:3]
    return centre + middle, float(np.sqrt(max(solution[3] + centre @ centre, 0.0)))


def eyeball(points: Floats) -> Eyeball:
    """The eyeball of a part's vertices (k, 3) mm at rest.

    The axis points to where a cornea stands out of the ball, if one does by more than 1 percent of the
    radius; otherwise straight ahead, along z.
    """
    centre, radius = fit_ball(points)
    for _ in range(3):
        proud = np.linalg.norm(points - centre, axis=1) - radius
        kept = np.abs(proud) <= 0.02 * radius
        if kept.sum() > max(8, len(points) // 3):
            centre, radius = fit_ball(points[kept])
    proud = np.linalg.norm(points - centre, axis=1) / max(radius, 1e-9) - 1.0
    axis = np.array([0.0, 0.0, 1.0])
    if proud.max() > 0.01:
        bulge = np.maximum(proud - 0.01, 0.0)
        toward = unit(((points - centre) * bulge[:, None]).sum(axis=0))
        axis = toward if toward @ axis > 0.5 else axis
    return Eyeball(centre, radius, axis)


def turned(ball: Eyeball, rest: Floats, pose: Floats) -> Eyeball:
    """The eyeball after its vertices went from `rest` to `pose` (k, 3): the rigid motion that fits best.

    Kabsch's rotation (Kabsch, A solution for the best rotation to relate two sets of vectors, 1976).
    """
    a, b = rest - rest.mean(axis=0), pose - pose.mean(axis=0)
    left, _, right = np.linalg.svd(a.T @ b)
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(left @ right)) or 1.0])
    rotation = (left @ flip @ right).T
    centre = rotation @ (ball.centre - rest.mean(axis=0)) + pose.mean(axis=0)
    return Eyeball(centre, ball.radius, rotation @ ball.axis)


def paint(ball: Eyeball, points: Floats) -> tuple[Floats, Floats]:
    """Albedo (k, 3) in linear light and the smooth outward normals (k, 3) at `points` (k, 3) of the eyeball."""
    out = unit(points - ball.centre)
    cosine = np.clip(out @ ball.axis, -1.0, 1.0)
    angle = np.degrees(np.arccos(cosine))
    right = unit(np.cross(np.array([0.0, 1.0, 0.0]), ball.axis))
    up = np.cross(ball.axis, right)
    turn = np.arctan2(out @ up, out @ right)
    across = np.clip((angle - PUPIL_DEG) / (IRIS_DEG - PUPIL_DEG), 0.0, 1.0)[:, None]
    fibres = 1.0 + 0.10 * np.sin(turn * 37.0 + 2.0 * np.sin(turn * 9.0)) + 0.07 * np.sin(turn * 61.0 + 1.3)
    iris = (_IRIS_IN * (1.0 - across) + _IRIS_OUT * across) * fibres[:, None]
    iris = _blend(iris, _LIMBUS, _step(angle, IRIS_DEG - 5.5, IRIS_DEG - 0.5) * 0.8)
    white = _blend(np.broadcast_to(_WHITE, out.shape), _CORNER, _step(angle, 42.0, 72.0))
    albedo = _blend(iris, white, _step(angle, IRIS_DEG - 0.8, IRIS_DEG + 1.2))
    albedo = _blend(albedo, _PUPIL, 1.0 - _step(angle, PUPIL_DEG - 0.7, PUPIL_DEG + 0.7))
    return albedo, out


def _step(x: Floats, low: float, high: float) -> Floats:
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _blend(one: Floats, other: Floats, amount: Floats) -> Floats:
    return one + amount[:, None] * (other - one)
