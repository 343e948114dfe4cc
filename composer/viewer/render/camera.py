"""The eye before the head: where it looks, how it is turned, moved and brought nearer, and which ray a pixel is.

Pure numbers, no GL. Pixels count from the upper left corner, x to the right and y down; a pixel's centre lies at
half a pixel. Matrices take columns: clip = projection @ view @ point.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import unknown
from composer.picture.camera import LENS_DEG, Camera, frame
from composer.picture.views import FILL, VIEWS, turned_axes

Floats = NDArray[np.float64]
Point = tuple[float, float, float]

TURN_DEG = 0.35  # for each pixel of an orbit
STEP = 0.88  # of the distance, for each step of a zoom
NEAREST_MM, FURTHEST_MM = 60.0, 40000.0
STEEPEST_DEG = 89.0


@dataclass(frozen=True)
class Eye:
    """What it looks at (`target`, mm), from how far (mm), from where (`yaw`, `pitch` in degrees: 0, 0 is from z,
    90, 0 from x, the subject's left, 0, 90 from above), the vertical angle of its `lens` in degrees, and how far it is
    turned about where it looks (`tilt`, degrees against the clock).
    """

    target: Point = (0.0, 0.0, 0.0)
    distance: float = 1500.0
    yaw: float = 0.0
    pitch: float = 0.0
    lens: float = LENS_DEG
    tilt: float = 0.0

    @property
    def axes(self) -> Floats:
        """(3, 3) right, up and back as rows of unit length."""
        return turned_axes(self.yaw, self.pitch, self.tilt)

    @property
    def place(self) -> Floats:
        """(3,) where the eye itself is, mm."""
        return np.array(self.target) + self.distance * self.axes[2]

    def camera(self, width: int, height: int) -> Camera:
        """The same eye as a camera of the pictures made without a window."""
        return Camera(self.place, self.axes, width, height, float(np.tan(np.radians(self.lens) / 2.0)))

    def view_matrix(self) -> Floats:
        """(4, 4) from head space in mm to eye space, where -z lies ahead."""
        matrix = np.eye(4)
        matrix[:3, :3] = self.axes
        matrix[:3, 3] = -self.axes @ self.place
        return matrix

    def projection(self, width: int, height: int) -> Floats:
        """(4, 4) from eye space to GL's clip space, for a picture of `width` by `height` pixels."""
        near, far = 0.1 * self.distance, self.distance + 4000.0
        tall = 1.0 / np.tan(np.radians(self.lens) / 2.0)
        matrix = np.zeros((4, 4))
        matrix[0, 0], matrix[1, 1] = tall * height / width, tall
        matrix[2, 2], matrix[2, 3] = (near + far) / (near - far), 2.0 * near * far / (near - far)
        matrix[3, 2] = -1.0
        return matrix

    def pixel_mm(self, height_px: float) -> float:
        """What a pixel covers at the target's depth, mm, in a picture of this height."""
        return float(2.0 * self.distance * np.tan(np.radians(self.lens) / 2.0) / height_px)

    def orbit(self, dx_px: float, dy_px: float) -> Eye:
        """Turned about its target as if the head were turned by a drag of so many pixels to the right and down."""
        c, s = np.cos(np.radians(self.tilt)), np.sin(np.radians(self.tilt))
        across, down = c * dx_px + s * dy_px, c * dy_px - s * dx_px
        pitch = float(np.clip(self.pitch + TURN_DEG * down, -STEEPEST_DEG, STEEPEST_DEG))
        return replace(self, yaw=(self.yaw - TURN_DEG * across + 180.0) % 360.0 - 180.0, pitch=pitch)

    def pan(self, dx_px: float, dy_px: float, height_px: float) -> Eye:
        """Moved so that what lies at the target's depth follows a drag in a picture of this height."""
        right, up, _ = self.axes
        moved = np.array(self.target) + self.pixel_mm(height_px) * (dy_px * up - dx_px * right)
        return replace(self, target=_point(moved))

    def zoom(self, steps: float, towards: ArrayLike | None = None) -> Eye:
        """Nearer by `steps` (further where below 0); the point `towards` (3,) mm stays where it is in the picture."""
        distance = float(np.clip(self.distance * STEP**steps, NEAREST_MM, FURTHEST_MM))
        fixed = np.array(self.target) if towards is None else np.asarray(towards, dtype=np.float64)
        target = fixed + (distance / self.distance) * (np.array(self.target) - fixed)
        return replace(self, distance=distance, target=_point(target))

    def ray(self, x: float, y: float, width: int, height: int) -> tuple[Floats, Floats]:
        """Origin (3,) mm and unit direction (3,) of the ray through a place of the picture."""
        sight = self.camera(width, height).directions(np.array([float(x)]), np.array([float(y)]))
        return self.place, sight[0]

    def project(self, points: ArrayLike, width: int, height: int) -> tuple[Floats, Floats]:
        """Pixels (k, 2) and depths ahead of the eye (k,) in mm of `points` (k, 3); what lies behind has depth < 0."""
        given = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        return self.camera(width, height).project(given)


def _point(values: NDArray) -> Point:
    return float(values[0]), float(values[1]), float(values[2])


def framed(eye: Eye, points: NDArray, size: tuple[int, int], fill: float = FILL) -> Eye:
    """The eye in the same direction, so that `points` (k, 3) mm are centred and fill so much of the picture.

    `size` is (width, height) in pixels; `fill` in (0, 1] as in `composer.picture.camera.frame`.
    """
    given = np.asarray(points, dtype=np.float64)
    axes = eye.axes
    camera = frame(given, axes, size, fill, eye.lens)
    deep = given @ axes[2]
    distance = float(camera.eye @ axes[2] - 0.5 * (deep.min() + deep.max()))
    distance = float(np.clip(distance, NEAREST_MM, FURTHEST_MM))
    return replace(eye, target=_point(camera.eye - distance * axes[2]), distance=distance)


def named_eye(name: str, points: NDArray, size: tuple[int, int], fill: float = FILL) -> Eye:
    """The eye of a named view (`composer.picture.views`) that frames `points` (k, 3) mm in a picture of `size`.

    Raises MoueError with the nearest names where no view is named so.
    """
    if name not in VIEWS:
        raise unknown("view", name, VIEWS)
    x, y, z = VIEWS[name]
    yaw, pitch = np.degrees(np.arctan2(x, z)), np.degrees(np.arcsin(y))
    return framed(Eye(yaw=float(yaw), pitch=float(pitch)), points, size, fill)


def between(a: Eye, b: Eye, t: float) -> Eye:
    """The eye on its way from `a` (t = 0) to `b` (t = 1): slow at both ends, the shorter way round."""
    if t <= 0.0 or t >= 1.0:
        return a if t <= 0.0 else b
    s = t * t * (3.0 - 2.0 * t)
    turn = (b.yaw - a.yaw + 180.0) % 360.0 - 180.0
    target = np.array(a.target) + s * (np.array(b.target) - np.array(a.target))
    return Eye(
        _point(target),
        a.distance * (b.distance / a.distance) ** s,
        (a.yaw + s * turn + 180.0) % 360.0 - 180.0,
        a.pitch + s * (b.pitch - a.pitch),
        a.lens + s * (b.lens - a.lens),
        a.tilt + s * ((b.tilt - a.tilt + 180.0) % 360.0 - 180.0),
    )
