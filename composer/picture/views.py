"""The views of a head, those that every head has by name and those that a document keeps, and the camera each needs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.document.kept_view import KeptView
from composer.errors import unknown
from composer.head.named_views import VIEWS, towards
from composer.picture.camera import LENS_DEG, Camera, frame, look

__all__ = ["FILL", "VIEWS", "View", "aspect_of", "axes_of", "camera_of", "kept_target", "turned_axes",
           "view_named", "view_of_eye", "words_of"]  # fmt: skip
View = str | KeptView
"""A view: the name of one that every head has, or one that a document keeps."""
FILL = 0.80
"""Share of the picture's tighter dimension that a head fills: 60 to 85 percent by common practice, no source."""


def view_named(name: str, kept: Sequence[KeptView] = ()) -> View:
    """The view of a name, among those of every head and those that are kept. Raises MoueError with the nearest names
    where there is none."""
    if name in VIEWS:
        return name
    for view in kept:
        if view.name == name:
            return view
    raise unknown("view", name, [*VIEWS, *(view.name for view in kept)])


def words_of(view: View) -> str:
    """A view as it is written on a sheet."""
    return view.replace("_", " ") if isinstance(view, str) else view.name


def axes_of(view: View) -> NDArray[np.float64]:
    """(3, 3) camera axes of a view. Raises MoueError with the nearest names where there is none."""
    if isinstance(view, KeptView):
        return turned_axes(view.around_deg, view.above_deg, view.tilt_deg)
    if view not in VIEWS:
        raise unknown("view", view, VIEWS)
    return look(VIEWS[view])


def turned_axes(around_deg: float, above_deg: float, tilt_deg: float = 0.0) -> NDArray[np.float64]:
    """(3, 3) right, up and back, as rows, of an eye that lies so many degrees from the front towards the subject's left
    and so many upwards, turned by `tilt_deg` against the clock about where it looks."""
    back = np.array(towards(around_deg, above_deg))
    around, tilt = np.radians(around_deg), np.radians(tilt_deg)
    level = np.array([np.cos(around), 0.0, -np.sin(around)])
    upright = np.cross(back, level)
    right = np.cos(tilt) * level + np.sin(tilt) * upright
    return np.stack([right, np.cross(back, right), back])


def camera_of(
    view: View, points: NDArray, size: tuple[int, int], fill: float = FILL, neutral: NDArray | None = None
) -> Camera:
    """A camera of the view in a picture of `size` (width, height). A named view shows all of `points` (k, 3) mm and
    fills `fill` of the picture; a kept one shows what it says of the head whose `neutral` (n, 3) mm is given, by
    default `points`.

    Raises MoueError with the nearest names for an unknown view.
    """
    given = np.asarray(points, dtype=np.float64)
    if not isinstance(view, KeptView):
        return frame(given, axes_of(view), size, fill)
    target, distance = kept_target(view, given if neutral is None else neutral)
    axes = axes_of(view)
    scale = float(np.tan(np.radians(LENS_DEG) / 2.0))
    return Camera(target + distance * axes[2], axes, size[0], size[1], scale)


def kept_target(view: KeptView, neutral: NDArray, lens_deg: float = LENS_DEG) -> tuple[NDArray[np.float64], float]:
    """What a kept view looks at (3,) and from how far, mm, on the head whose neutral (n, 3) mm is given."""
    low, sides = _box(neutral)
    target = low + (0.5 + np.array(view.middle)) * sides
    height = view.height * float(np.linalg.norm(sides))
    return target, height / (2.0 * float(np.tan(np.radians(lens_deg) / 2.0)))


def view_of_eye(
    name: str, turns: tuple[float, float, float], target: NDArray, distance: float, neutral: NDArray,
    lens_deg: float = LENS_DEG,
) -> KeptView:  # fmt: skip
    """The view to be kept of an eye that looks at `target` (3,) mm from a `distance` in mm, turned by `turns` (around,
    above, tilt) in degrees: the inverse of `kept_target`, in few digits."""
    low, sides = _box(neutral)
    wide = np.where(sides > 0.0, sides, 1.0)
    x, y, z = (round(float(v), 4) + 0.0 for v in (np.asarray(target) - low) / wide - 0.5)
    height = 2.0 * distance * float(np.tan(np.radians(lens_deg) / 2.0)) / max(float(np.linalg.norm(sides)), 1e-9)
    around, above, tilt = (round(turn, 2) + 0.0 for turn in turns)
    return KeptView(name, around, above, tilt, (x, y, z), float(f"{height:.4g}"))


def _box(neutral: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The lowest corner (3,) and the sides (3,) of a head's box, mm."""
    points = np.asarray(neutral, dtype=np.float64)
    low = points.min(axis=0)
    return low, points.max(axis=0) - low


def aspect_of(view: View, points: NDArray) -> float:
    """Width over height of the points' bounding box in a view: the proportions of a suitable picture."""
    local = np.asarray(points, dtype=np.float64) @ axes_of(view).T
    extent = np.maximum(np.ptp(local, axis=0), 1e-6)
    return float(extent[0] / extent[1])
