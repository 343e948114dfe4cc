"""The border of a mask made softer or harder: a ramp of a given width about its line of 1/2, by distance.

The signed distance from the line is computed once for a mask; another width is one smoothstep. No distance crosses the
rim of the mouth or of a socket; behind a rim the mask goes on from the rim and fades.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from composer.errors import MoueError
from composer.geometry.surface import Floats
from masks.mask import checked_values
from masks.soften import inward_distance, ramp
from masks.spot import SpotGround

WIDEST_MM = 100.0
"""The widest ramp of a region, mm. A design choice, no source."""
FADE_MM = 12.0
"""Behind a rim a mask fades within this, mm, as regions from landmarks do (presets/regions/face.toml)."""
NARROW, INNER = 0.02, 0.98
"""Values of a mask between these tell the width of its ramp. A design choice, no source."""


class SoftBorder:
    """One mask, ready for any width of ramp."""

    def __init__(self, ground: SpotGround, values: Floats) -> None:
        """`values` (n,) in [0, 1]. Raises MoueError where they are no mask of this head."""
        self.ground = ground
        self.values = checked_values(values, ground.surface.n_vertices)
        limit = 0.5 * WIDEST_MM + ground.surface.mean_edge_mm
        outside = np.where(ground.skin & ~ground.hollows.inside, self.values, 0.0)
        self.inward = inward_distance(ground.surface, outside, ground.marching, limit)

    def mask(self, ramp_mm: float) -> Floats:
        """(n,) the mask with a ramp of this width, 0 (a hard edge) to WIDEST_MM. A mask that never crosses 1/2 has no
        border and stays as it is."""
        if not 0.0 <= ramp_mm <= WIDEST_MM:
            raise MoueError(f"a ramp of {ramp_mm:g} mm is not in 0 to {WIDEST_MM:g}")
        if np.isinf(self.inward).all():
            return self.values.copy()
        soft = self.ground.hollows.filled(ramp(self.inward, ramp_mm), FADE_MM)
        return np.where(self.ground.skin, soft, 0.0)

    @cached_property
    def width_mm(self) -> float:
        """About how wide the mask's own ramp is, mm: the width of the smoothstep that its values beside the line of 1/2
        follow in the median; 0 where it has no ramp."""
        on = (self.values > NARROW) & (self.values < INNER) & self.ground.skin & np.isfinite(self.inward)
        place = 0.5 - np.sin(np.arcsin(1.0 - 2.0 * self.values[on]) / 3.0)  # the inverse of the smoothstep
        off = np.abs(place - 0.5) > 0.05
        if not off.any():
            return 0.0
        return float(np.median(np.abs(self.inward[on][off]) / np.abs(place[off] - 0.5)))
