"""A long-lens camera: from pixels to rays, from points to pixels, and the framing of a head.

The image's pixel (column 0, row 0) is the upper left one; a pixel's centre lies at (column + 0.5, row + 0.5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LENS_DEG = 14.0
"""Vertical angle of view, degrees (our choice): a portrait lens, about 150 mm on a 24 x 36 frame held upright."""


def unit(vectors: Floats) -> Floats:
    """Vectors (..., 3) divided by their lengths; a zero vector stays zero."""
    length = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]
    return vectors / np.where(length > 0.0, length, 1.0)


@dataclass(frozen=True, eq=False)
class Camera:
    """The position of the eye (3,) in mm, its axes as rows right, up, back (3, 3), the picture's size and the lens.

    `scale` is the tangent of half the vertical angle of view.
    """

    eye: Floats
    axes: Floats
    width: int
    height: int
    scale: float

    def directions(self, columns: Floats, rows: Floats) -> Floats:
        """(k, 3) unit directions of the rays through image positions `columns`, `rows` (k,) in pixels."""
        x = (columns / self.width * 2.0 - 1.0) * self.scale * (self.width / self.height)
        y = (1.0 - rows / self.height * 2.0) * self.scale
        right, up, back = self.axes[..., None]
        toward = x * right + y * up - back
        return np.asarray((toward / np.sqrt((toward * toward).sum(axis=0))).T)

    def project(self, points: Floats) -> tuple[Floats, Floats]:
        """Image positions (k, 2) as column, row in pixels of `points` (k, 3) mm, and their depths (k,) in mm."""
        local = (points - self.eye) @ self.axes.T
        depth = -local[:, 2]
        reach = np.maximum(depth, 1e-9) * self.scale
        column = (local[:, 0] / (reach * (self.width / self.height)) + 1.0) * 0.5 * self.width
        row = (1.0 - local[:, 1] / reach) * 0.5 * self.height
        return np.stack([column, row], axis=1), depth

    def pixel_mm(self, depth: float) -> float:
        """The height in mm that one pixel covers at a depth in mm."""
        return 2.0 * depth * self.scale / self.height


def look(direction: tuple[float, float, float]) -> Floats:
    """(3, 3) camera axes (right, up, back) of an eye in `direction` from its target, with y up."""
    back = unit(np.array(direction, dtype=np.float64))
    upward = np.array([0.0, 1.0, 0.0]) if abs(back[1]) < 0.999 else np.array([0.0, 0.0, -np.sign(back[1])])
    right = unit(np.cross(upward, back))
    return np.stack([right, np.cross(back, right), back])


def frame(
    points: Floats, axes: Floats, size: tuple[int, int], fill: float, lens_deg: float = LENS_DEG
) -> Camera:
    """A camera along `axes` that shows all of `points` (k, 3) mm, centred, filling `fill` of the picture.

    `size` is (width, height) in pixels; `fill` in (0, 1] is the share of the width or of the height, whichever is
    tighter, that the points take up. In perspective the extent depends on the distance, so both are found by a few
    fixed-point steps.
    """
    width, height = size
    scale = float(np.tan(np.radians(lens_deg) / 2.0))
    local = points @ axes.T
    centre = 0.5 * (local.min(axis=0) + local.max(axis=0))
    extent = np.maximum(np.ptp(local, axis=0), 1e-6)
    distance = max(extent[1], extent[0] * height / width) / (2.0 * scale * fill) + 0.5 * extent[2]
    camera = Camera(axes.T @ (centre + np.array([0.0, 0.0, distance])), axes, width, height, scale)
    for _ in range(6):
        seen, _ = camera.project(points)
        low, high = seen.min(axis=0), seen.max(axis=0)
        ratio = max((high[0] - low[0]) / width, (high[1] - low[1]) / height) / fill
        off = 0.5 * (low + high) - 0.5 * np.array([width, height])
        mm = camera.pixel_mm(distance)
        centre = centre + np.array([off[0] * mm, -off[1] * mm, 0.0])
        distance = 0.5 * extent[2] + max(distance - 0.5 * extent[2], 1e-6) * ratio
        camera = Camera(axes.T @ (centre + np.array([0.0, 0.0, distance])), axes, width, height, scale)
    return camera
