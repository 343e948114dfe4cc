"""What of the head lies under a place of the window."""

from __future__ import annotations

from typing import Literal

import numpy as np

from composer.viewer.render.picking import Hit
from composer.viewer.session.stage import Stage

LEAST_WEIGHT = 0.05
"""Weight below which no region counts as lying under the pointer."""


def look_up(stage: Stage, x: float, y: float) -> Hit | None:
    """What of the head lies under a place of the window."""
    if stage.session is None or stage.picker is None or stage.eye is None or not stage.in_view(x, y):
        return None
    left, top, _, _ = stage.view
    origin, direction = stage.eye.ray(x - left, y - top, *stage.view_size)
    if stage.place == "new":
        new = stage.new_head
        if new is None:
            return None
        if stage.shown_of_new == "sculpt":
            return new.drawn.sculpt_rays.pick(origin, direction)
        return new.drawn.picker.pick(new.positions(), origin, direction, stage.hidden_of_new)
    return stage.picker.pick(stage.session.positions(), origin, direction, stage.hidden)


def look_up_new(stage: Stage, x: float, y: float, surface: Literal["sculpt", "library"]) -> Hit | None:
    """What of a new head lies under a place of the window, of one of its surfaces alone, whatever is shown; in the
    numbers of that surface's own vertices."""
    new = stage.new_head
    if new is None or stage.eye is None or not stage.in_view(x, y):
        return None
    left, top, _, _ = stage.view
    origin, direction = stage.eye.ray(x - left, y - top, *stage.view_size)
    if surface == "sculpt":
        return new.drawn.sculpt_rays.pick(origin, direction)
    return new.drawn.on_library.pick(new.drawn.library_positions, origin, direction)


def region_at(stage: Stage, hit: Hit | None) -> str:
    """The region that has most of a place of the skin; "" where none has any."""
    if hit is None or stage.session is None:
        return ""
    best, most = "", LEAST_WEIGHT
    for region in stage.session.project.regions:
        mask = stage.session.evaluated.effective[region.name]
        weight = float(np.asarray(mask)[np.asarray(hit.corners)] @ np.asarray(hit.bary))
        if weight > most:
            best, most = region.name, weight
    return best
