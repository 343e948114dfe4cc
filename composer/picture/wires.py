"""A mesh's edges drawn over its picture: how its loops lie, with what is hidden left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.picture.camera import Camera, unit
from composer.picture.colour import Rgb
from composer.picture.rays import Rays

if TYPE_CHECKING:
    from PIL.Image import Image

FINER = 3
"""The lines are drawn this many times larger and scaled down, so that they are smooth (our choice)."""
LIFT_MM = 0.3
"""An edge counts as seen where nothing lies this much nearer to the eye than its middle, mm (our choice)."""
WIDE = 2
"""How wide a line is in these finer pixels (our choice)."""
STRENGTH = 0.55
"""How much of the picture a line covers, 0 to 1 (our choice)."""
LINE: Rgb = (38, 44, 52)


def draw_wires(picture: Image, positions: NDArray, edges: NDArray, rays: Rays, camera: Camera) -> Image:
    """A copy of a `picture` that `camera` took, with lines along `edges` (e, 2) of `positions` (n, 3) mm. `rays` are
    over the surface that hides: an edge is drawn where the ray from the eye to its middle meets nothing before it.
    """
    from PIL import Image as Images

    ends = np.asarray(positions, dtype=np.float64)[edges]
    way = ends.mean(axis=1) - camera.eye
    far = np.linalg.norm(way, axis=1)
    hits = rays.first(np.broadcast_to(camera.eye, way.shape), unit(way))
    seen = (hits.triangle < 0) | (hits.distance > far - LIFT_MM)
    columns, _ = camera.project(ends[seen].reshape(-1, 3))
    inked = _inked((columns * FINER).reshape(-1, 2, 2), camera.width * FINER, camera.height * FINER)
    mask = Images.fromarray(inked * np.uint8(round(255 * STRENGTH)), "L")
    mask = mask.resize((camera.width, camera.height), Images.Resampling.BOX)
    drawn = picture.copy()
    drawn.paste(Images.new("RGB", drawn.size, LINE), (0, 0), mask)
    return drawn


def _inked(lines: NDArray, width: int, height: int) -> NDArray[np.uint8]:
    """(height, width) 1 where a pixel lies under a line, else 0. `lines` (e, 2, 2) are their ends in pixels; each is
    WIDE pixels wide, square to the axis along which it is longer."""
    inked = np.zeros((height, width), dtype=np.uint8)
    begin, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    steps = np.ceil(np.abs(way).max(axis=1)).astype(np.int64) + 1
    line = np.repeat(np.arange(len(lines)), steps)
    step = np.arange(len(line)) - np.repeat(np.cumsum(steps) - steps, steps)
    at = begin[line] + (step / np.maximum(steps - 1, 1)[line])[:, None] * way[line]
    upright = (np.abs(way[:, 0]) < np.abs(way[:, 1]))[line]
    first = np.floor(at - np.where(upright[:, None], (0.5 * (WIDE - 1), 0.0), (0.0, 0.5 * (WIDE - 1)))).astype(np.int64)
    for beside in range(WIDE):
        column, row = first[:, 0] + beside * upright, first[:, 1] + beside * ~upright
        inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
        inked[row[inside], column[inside]] = 1
    return inked
