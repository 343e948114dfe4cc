"""A landmark that goes along with the pointer over the skin, whatever head it is on."""

from __future__ import annotations

from collections.abc import Generator

import numpy as np
from numpy.typing import NDArray

from composer.head.places import SurfacePoint
from composer.viewer.render.picking import Hit
from composer.viewer.session.pointing import look_up
from composer.viewer.session.stage import Stage
from composer.viewer.tools.gestures import Abandoned, Point

NEAR_PX = 11.0
Moved = tuple[str, SurfacePoint]
"""A landmark and where it was let go."""


def carried_mark(stage: Stage, name: str, fresh: bool, at: Point) -> Generator[None, Point, Moved | None]:
    """Carry the landmark `name` from a press on, "" for none, and return where it was let go; None where it was never
    over the skin. A `fresh` one lies under the pointer at once, any other moves with it. Escape leaves no trace."""
    try:
        if fresh and name:
            _put_there(stage, name, look_up(stage, at.x, at.y))
        while True:
            point = yield
            if point.released:
                break
            if name:
                _put_there(stage, name, look_up(stage, point.x, point.y))
        return stage.moved_mark
    except Abandoned:
        return None
    finally:
        stage.moved_mark = None


def nearest_mark(stage: Stage, names: list[str], places: NDArray, x: float, y: float) -> str:
    """Of the landmarks `names` at `places` (k, 3) mm the one whose mark lies under a place of the window, "" where none
    does."""
    if stage.eye is None or not names:
        return ""
    left, top, _, _ = stage.view
    seen, _ = stage.eye.project(places, *stage.view_size)
    away = np.hypot(seen[:, 0] + left - x, seen[:, 1] + top - y)
    nearest = int(np.argmin(away))
    return names[nearest] if away[nearest] <= NEAR_PX else ""


def surface_point(hit: Hit) -> SurfacePoint:
    """The place of a hit as a point of the triangle of its three heaviest corners."""
    order = np.argsort(-np.asarray(hit.bary), kind="stable")[:3]
    corners = np.asarray(hit.corners)[order]
    weight = np.asarray(hit.bary, dtype=np.float64)[order]
    weight = weight / weight.sum()
    a, b, c = (int(v) for v in corners)
    return SurfacePoint((a, b, c), (float(weight[0]), float(weight[1]), float(weight[2])))


def _put_there(stage: Stage, name: str, hit: Hit | None) -> None:
    """Show a landmark at a place of the skin while it is dragged; elsewhere it stays where it was."""
    if hit is not None and hit.part == "skin":
        stage.moved_mark = (name, surface_point(hit))
