"""Eyeballs in pictures: the centre and the gaze axis of an eyeball, and the colour of each place on it.

An eye is coloured by the angle from its gaze axis, without a texture: pupil, iris with its fibres and dark limbus, then
white that is warmer towards the corners. Mean horizontal diameters in adults are 11.7 mm for the iris and 24 mm for the
ball: a half angle of about 29 degrees (from memory; the range is narrow).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import similarity
from composer.head.head import Part
from composer.head.understand.spheres import sphere_of, sphere_through
from composer.picture.camera import unit
from composer.picture.colour import rgb

Floats = NDArray[np.float64]
PUPIL_DEG, IRIS_DEG = 11.0, 28.5
"""Half angles of pupil and iris, degrees: the iris as above, the pupil in room light (our choice)."""
AGREE_DEG = 6.0
"""Largest angle, degrees, between the axes of two corneas, one mirrored, at which both are used (our choice)."""
_WHITE, _CORNER = rgb(232, 228, 221), rgb(214, 190, 178)
_IRIS_OUT, _IRIS_IN, _LIMBUS, _PUPIL = rgb(92, 112, 118), rgb(150, 158, 144), rgb(40, 46, 50), rgb(14, 13, 13)


@dataclass(frozen=True, eq=False)
class Eyeball:
    """A ball: `centre` (3,) and `radius` in mm, and the unit `axis` (3,) along which it gazes."""

    centre: Floats
    radius: float
    axis: Floats


def eyeball(points: Floats) -> Eyeball:
    """The eyeball of a part's vertices (k, 3) mm at rest.

    The axis points to the cornea where one stands out of the ball by more than 1 percent of the radius (our choice);
    otherwise straight ahead, along z.
    """
    ball = sphere_of(points)
    centre, radius = ball.centre, ball.radius
    if not np.isfinite(radius) or len(points) < 8:
        centre, radius = sphere_through(points)
    proud = np.linalg.norm(points - centre, axis=1) / max(radius, 1e-9) - 1.0
    axis = np.array([0.0, 0.0, 1.0])
    if proud.max() > 0.01:
        bulge = np.maximum(proud - 0.01, 0.0)
        toward = unit(((points - centre) * bulge[:, None]).sum(axis=0))
        axis = toward if toward @ axis > 0.5 else axis
    return Eyeball(centre, radius, axis)


def eyeballs_of(parts: Sequence[Part], neutral: NDArray) -> tuple[Eyeball, ...]:
    """The eyeballs of a head's eye parts at rest, `neutral` (n, 3) mm.

    A part's own gaze is its axis. Other eyeballs use the axes of their corneas where there are two that agree to
    AGREE_DEG, one of them mirrored across x, and do not look inwards; otherwise they look straight ahead.
    """
    balls = [eyeball(np.asarray(neutral, dtype=np.float64)[part.vertices]) for part in parts]
    without_gaze = [i for i, part in enumerate(parts) if part.gaze is None]
    if without_gaze and not (len(without_gaze) == 2 and _agree(*(balls[i] for i in without_gaze))):
        for i in without_gaze:
            balls[i] = Eyeball(balls[i].centre, balls[i].radius, np.array([0.0, 0.0, 1.0]))
    for i, part in enumerate(parts):
        if part.gaze is not None:
            balls[i] = Eyeball(balls[i].centre, balls[i].radius, unit(np.array(part.gaze, dtype=np.float64)))
    return tuple(balls)


def _agree(one: Eyeball, other: Eyeball) -> bool:
    left, right = (one, other) if one.centre[0] > other.centre[0] else (other, one)
    mirrored = right.axis * (-1.0, 1.0, 1.0)
    apart = np.degrees(np.arccos(np.clip(left.axis @ mirrored, -1.0, 1.0)))
    inward = np.degrees(np.arctan2([-left.axis[0], right.axis[0]], [left.axis[2], right.axis[2]]))
    return bool(apart <= AGREE_DEG and inward.max() <= 1.0)


def turned(ball: Eyeball, rest: Floats, pose: Floats) -> Eyeball:
    """The eyeball moved by the rigid motion that fits best from its vertices at `rest` to those in `pose` (k, 3)."""
    motion = similarity(rest, pose, scaled=False)
    return Eyeball(motion(ball.centre), ball.radius, motion.turn(ball.axis))


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
