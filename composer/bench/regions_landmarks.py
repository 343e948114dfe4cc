"""Regions from landmarks on a new surface, beside one copy of their masks."""

from __future__ import annotations

import numpy as np

from composer.bench.demo_surface import demo_head
from composer.bench.measure import Row, measure
from composer.head.head import Head
from composer.head.presets import lay_regions, region_set


def rows() -> list[Row]:
    """Forty regions on 22,500 vertices, without cached tables: at most 0.5 s."""
    head = demo_head(1)
    preset = region_set("face")
    masks = list(lay_regions(head, preset).masks.values())

    def lay() -> Head:
        fresh = head.with_(name="bench")
        lay_regions(fresh, preset)
        return fresh

    name = f"{len(masks)} regions, {head.n_vertices:,} vertices"
    return [measure(name, lay, "one copy of the masks", lambda: np.copy(masks), repeats=5, most_ms=500.0)]
