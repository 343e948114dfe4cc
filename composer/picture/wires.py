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
STRENGTH = 0.55
"""How much of the picture a line covers, 0 to 1 (our choice)."""
LINE: Rgb = (38, 44, 52)


def draw_wires(picture: Image, positions: NDArray, edges: NDArray, rays: Rays, camera: Camera) -> Image:
    """A copy of a `picture` that `camera` took, with lines along `edges` (e, 2) of `positions` (n, 3) mm. `rays` are
    over the surface that hides: an edge is drawn where the ray from the eye to its middle meets nothing before it.
    """
    from PIL import Image as Images
    from PIL import ImageDraw

    ends = np.asarray(positions, dtype=np.float64)[edges]
    way = ends.mean(axis=1) - camera.eye
    far = np.linalg.norm(way, axis=1)
    hits = rays.first(np.broadcast_to(camera.eye, way.shape), unit(way))
    seen = (hits.triangle < 0) | (hits.distance > far - LIFT_MM)
    columns, _ = camera.project(ends[seen].reshape(-1, 3))
    lines = (columns * FINER).reshape(-1, 4)
    mask = Images.new("L", (camera.width * FINER, camera.height * FINER))
    draw = ImageDraw.Draw(mask)
    ink = round(255 * STRENGTH)
    for line in lines.tolist():
        draw.line(line, fill=ink, width=2)
    mask = mask.resize((camera.width, camera.height), Images.Resampling.BOX)
    drawn = picture.copy()
    drawn.paste(Images.new("RGB", drawn.size, LINE), (0, 0), mask)
    return drawn
