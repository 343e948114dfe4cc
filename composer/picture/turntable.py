"""A head turned once about its upright axis: one camera goes round it at the same height and distance.

A light that follows the view makes it a head that turns before the camera; under one that stands, the camera goes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.document.kept_view import KeptView
from composer.document.over_cores import over_cores
from composer.picture.camera import Camera, frame
from composer.picture.clip_picture import animated
from composer.picture.lamps import FOLLOWING, lamps_of
from composer.picture.render import Studio
from composer.picture.views import View, axes_of, camera_of
from composer.progress import Progress

if TYPE_CHECKING:
    from PIL.Image import Image

FILL = 0.84
TURN_SECONDS = 4.0
"""How long a whole turn lasts (our choice)."""
AROUND = 24
"""Sides from which a turning head is framed (our choice)."""


def around(
    points: NDArray, view: View, count: int, size: tuple[int, int], neutral: NDArray | None = None
) -> list[Camera]:
    """`count` cameras evenly round the upright axis through the middle of `points` (k, 3) mm, the first in a view,
    in pictures of `size` (width, height). In a named view all of them hold the points from every side;
    a kept one shows what it says of the head whose `neutral` (n, 3) mm is given, by default the points.

    Raises MoueError for an unknown view.
    """
    axes = axes_of(view)
    points = np.asarray(points, dtype=np.float64)
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    from_there = points - middle
    if isinstance(view, KeptView):
        held = camera_of(view, from_there, size, neutral=(points if neutral is None else neutral) - middle)
    else:
        swept = np.concatenate([from_there @ _turned(2.0 * math.pi * i / AROUND).T for i in range(AROUND)])
        held = frame(swept[_outermost(swept, axes)], axes, size, FILL)
    cameras = []
    for i in range(count):
        turn = _turned(2.0 * math.pi * i / count)
        cameras.append(Camera(turn @ held.eye + middle, held.axes @ turn.T, held.width, held.height, held.scale))
    return cameras


def turntable(
    studio: Studio, positions: NDArray | None = None, *, frames: int = 48, view: View = "front",
    size: tuple[int, int] = (480, 600), colours: NDArray | None = None, light: str = FOLLOWING, clear: bool = False,
    progress: Progress | None = None, workers: int | None = None,
) -> list[Image]:  # fmt: skip
    """A pose (n, 3) mm, or the neutral, turned once about in `frames` pictures, over `workers` cores, all by default.

    `colours`, `light` and `clear` are as in `Studio.picture`. Raises MoueError for an unknown view or light.
    """
    lamps_of(light)
    pose = studio.figure.rest if positions is None else studio.figure.posed(positions)
    cameras = around(pose.positions, view, frames, size, studio.figure.neutral)

    def picture(i: int) -> Image:
        return studio.picture(posed=pose, camera=cameras[i], colours=colours, light=light, clear=clear)

    return over_cores(lambda: picture, frames, words="picturing side", progress=progress, workers=workers)


def one_turn(images: Sequence[Image]) -> bytes:
    """A whole turn as an animated WebP that goes round without end."""
    return animated(images, [TURN_SECONDS / len(images)] * len(images))


def _turned(angle: float) -> NDArray[np.float64]:
    """(3, 3) the rotation by an angle in radians about y, from z towards x."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def _outermost(points: NDArray, axes: NDArray) -> NDArray[np.int64]:
    """The points (k, 3) furthest along 64 directions of the camera: enough to frame all of them."""
    angles = np.arange(64) * (2.0 * math.pi / 64)
    local = points @ axes.T
    found = [np.argmax(local[:, 0] * math.cos(angle) + local[:, 1] * math.sin(angle)) for angle in angles]
    return np.unique([*found, np.argmax(local[:, 2]), np.argmin(local[:, 2])])
