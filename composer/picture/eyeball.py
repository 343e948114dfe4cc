"""Eyeballs in pictures: the centre and the gaze axis of an eyeball, at rest and in a pose. How it looks, `eye_paint.py`
says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import similarity
from composer.head.head import Part
from composer.head.understand.spheres import sphere_of, sphere_through
from composer.picture.camera import unit

Floats = NDArray[np.float64]
AGREE_DEG = 6.0
"""Largest angle, degrees, between the axes of two corneas, one mirrored, at which both are used (our choice)."""


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


def gaze_frame(axis: Floats) -> Floats:
    """(3, 3) right, up and ahead of an eye that gazes along a unit axis (3,)."""
    right = unit(np.cross(np.array([0.0, 1.0, 0.0]), axis))
    return np.stack([right, np.cross(axis, right), axis])
