"""Small pictures of shapes, cropped to the skin that moves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.picture.camera import Camera, frame
from composer.picture.heat import movement
from composer.picture.render import Studio
from composer.picture.views import FILL, axes_of

if TYPE_CHECKING:
    from PIL.Image import Image

Floats = NDArray[np.float64]
SMALLEST = 0.30
"""Least height of a crop, as a share of the head's height (our choice)."""
MOVING = 0.12
"""Vertices that move less than this share of the furthest movement do not count (our choice)."""


def thumbnail(
    studio: Studio, positions: NDArray, *, size: tuple[int, int] = (112, 112), view: str = "front"
) -> Image:
    """A pose (n, 3) mm as a small picture of `size` (width, height), cropped to the skin that moves, or of the whole
    head where nothing moves.

    Raises MoueError for an unknown view.
    """
    return studio.picture(positions, camera=close_camera(studio, positions, size, view))


def thumbnails(
    studio: Studio, poses: Iterable[NDArray], *, size: tuple[int, int] = (112, 112), view: str = "front"
) -> Iterator[Image]:
    """One thumbnail after the other, so that a window can show each as soon as it is done."""
    for positions in poses:
        yield thumbnail(studio, positions, size=size, view=view)


def close_camera(studio: Studio, positions: NDArray, size: tuple[int, int], view: str = "front") -> Camera:
    """The camera that shows the moving skin of a pose, before and after, with some of the face around it."""
    neutral = studio.figure.neutral
    axes = axes_of(view)
    points = _what_moves(neutral, np.asarray(positions, dtype=np.float64))
    if points is None:
        return frame(neutral, axes, size, FILL)
    flat = points @ axes.T
    tall = float(np.ptp(neutral @ axes.T[:, 1]))
    centre, half = 0.5 * (flat.min(axis=0) + flat.max(axis=0)), 0.5 * np.ptp(flat, axis=0)
    half = np.maximum(half, 0.5 * SMALLEST * tall)
    corners = np.array([[x, y, 0.0] for x in (-1.0, 1.0) for y in (-1.0, 1.0)]) * half + centre
    camera = frame(corners @ axes, axes, size, 0.86)
    framing = frame(neutral, axes, size, FILL)
    far_enough = np.linalg.norm(camera.eye - neutral.mean(axis=0)) < np.linalg.norm(
        framing.eye - neutral.mean(axis=0)
    )
    return camera if far_enough else framing


def _what_moves(neutral: Floats, pose: Floats) -> Floats | None:
    moved = movement(neutral, pose)
    furthest = float(moved.max(initial=0.0))
    if furthest < 0.02:
        return None
    on = moved >= MOVING * furthest
    return np.concatenate([neutral[on], pose[on]])
