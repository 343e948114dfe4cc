"""Where eyes look at rest, from geometry: a pupil that moves within its ball, or a cornea that stands out of it.

A witness counts where it is round and the two eyes agree, mirrored, to some degrees and do not look inwards; otherwise
the eyes look straight ahead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.head.understand.eyeballs import Eye
from composer.head.understand.frame import HeadFrame
from composer.head.understand.motion import Motion
from composer.head.understand.rigid_fits import fit_robust

Floats = NDArray[np.float64]
CONE_DEG = 45.0
"""What lies further from the axis is no pupil and no cornea."""
PROUD = 0.02
"""Of the radius: how far a cornea stands out, and a pupil's rim moves within its ball, at least."""
AGREE_DEG = 6.0
"""The two eyes' axes, one mirrored, differ by this at most (the angle between optical and visual axis is about 5
degrees in adults; from memory)."""
INWARD_DEG = 1.0
ROUNDNESS = 0.25
"""Of the mean: the least of eight sectors about the axis that a round witness fills."""


@dataclass(frozen=True, eq=False)
class Gaze:
    """For each eye the unit axis (3,) along which it looks, and by what it was known, in words; `seen` is whether the
    eyes' own form tells it.
    """

    axes: tuple[Floats, ...]
    words: str
    seen: bool = False


def gaze_of(motion: Motion, eyes: Sequence[Eye], frame: HeadFrame) -> Gaze:
    """The gaze of a head's eyes at rest."""
    ahead = frame.axes[2]
    if len(eyes) == 2:
        witnesses = (("the pupils that move in their balls", _pupil), ("the corneas that stand out", _cornea))
        for words, witness in witnesses:
            found = [witness(motion, eye, frame) for eye in eyes]
            one, other = found
            if one is None or other is None:
                continue
            apart = _agreeing(one, other, frame)
            if apart is not None:
                return Gaze((one, other), f"by {words}, which agree to {apart:.1f} degrees", True)
    return Gaze(tuple(ahead for _ in eyes), "straight ahead: no pupil or cornea says otherwise on both eyes")


def _agreeing(left: Floats, right: Floats, frame: HeadFrame) -> float | None:
    """How far the left axis differs from the mirrored right one, degrees; None where too far or they cross."""
    side = frame.axes[0]
    mirrored = right - 2.0 * (right @ side) * side
    apart = float(np.degrees(np.arccos(np.clip(left @ mirrored, -1.0, 1.0))))
    outward = [np.degrees(np.arctan2(s * (axis @ side), axis @ frame.axes[2])) for axis, s in ((left, 1), (right, -1))]
    return apart if apart <= AGREE_DEG and min(outward) >= -INWARD_DEG else None


def _pupil(motion: Motion, eye: Eye, frame: HeadFrame) -> Floats | None:
    if not motion.count:
        return None
    vertices = np.concatenate([motion.pieces.of[piece] for piece in eye.pieces])
    points = motion.head.neutral[vertices]
    within = fit_robust(points, motion.of(vertices), 1e-5 * motion.size).residual.max(axis=0)
    weight = np.where(within > PROUD * eye.sphere.radius, within, 0.0)
    return _axis(points - eye.sphere.centre, weight, frame)


def _cornea(motion: Motion, eye: Eye, frame: HeadFrame) -> Floats | None:
    vertices = np.concatenate([motion.pieces.of[piece] for piece in eye.pieces])
    off = motion.head.neutral[vertices] - eye.sphere.centre
    proud = np.linalg.norm(off, axis=1) / eye.sphere.radius - 1.0
    return _axis(off, np.maximum(proud - PROUD, 0.0), frame)


def _axis(off: Floats, weight: Floats, frame: HeadFrame) -> Floats | None:
    """The middle direction (3,) of weights (k,) at `off` (k, 3) from a ball's centre; None where few or not round."""
    toward = off / np.maximum(np.linalg.norm(off, axis=1, keepdims=True), 1e-12)
    axis = frame.axes[2]
    cone = np.cos(np.radians(CONE_DEG))
    for _ in range(10):
        inside = weight * (toward @ axis > cone)
        if int((inside > 0).sum()) < 8:
            return None
        axis = inside @ toward
        axis = axis / np.linalg.norm(axis)
    right = np.cross(frame.axes[1], axis)
    right /= max(float(np.linalg.norm(right)), 1e-12)
    up = np.cross(axis, right)
    sectors = np.histogram(np.arctan2(toward @ up, toward @ right), 8, (-np.pi, np.pi), weights=inside)[0]
    return axis if sectors.min() >= ROUNDNESS * sectors.mean() else None
