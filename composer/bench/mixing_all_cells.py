"""All active cells at once, as when one recipe gives way to another, beside a BLAS dot over the same bytes."""

from __future__ import annotations

import numpy as np

from composer.bench.measure import Row, measure
from composer.bench.mixing_scene import mixing_scene
from composer.mixing.active import LivePose


def rows() -> list[Row]:
    """40 active cells, 25k vertices x 60 shapes x 12 regions, warm and cold: at most 3 times the dot.

    In use a frame is drawn between two sums, so the cold row is the one that a user feels. With warm caches, the dot is
    limited by the cache's bandwidth and the sum by random access to it.
    """
    mixer, recipe = mixing_scene()
    live = LivePose(mixer, recipe)
    live.displacement32()
    numbers = np.ones(live.bytes_summed // 8, dtype=np.float32)
    others = np.ones(live.bytes_summed // 8, dtype=np.float32)
    return [
        measure(
            f"all 40 active cells, caches {words}",
            live.displacement32,
            "BLAS dot of two arrays of the same bytes",
            lambda: np.dot(numbers, others),
            repeats=100,
            cold=cold,
            most_ratio=3.0,
            note=f"25k vertices, 60 shapes x 12 regions, {live.bytes_summed / 2**20:.1f} MiB",
        )
        for words, cold in (("warm", False), ("cold", True))
    ]
