"""A fit brought through a curve that was drawn afterwards: a warm refit beside a whole fit through the same curve.

The cage of 10,088 vertices and the planted maps of the fit's measure. The fit goes through 30 landmarks; then a loop of
17 vertices is drawn where it truly lies. The note gives the true error near the curve before, after the warm refit, and
after a whole fit.
"""

from __future__ import annotations

from statistics import median

import numpy as np
from numpy.typing import NDArray

from composer.bench.fit_planted import LANDMARKS, planted, spread
from composer.bench.measure import Row, middle_half, timed

Rows = NDArray[np.float64]
SEEDS = (7001, 7002, 7003)
CURVE = 17
MOST_MS, MOST_RATIO = 2000.0, 0.25


def rows() -> list[Row]:
    """One row: at most 2 s, a quarter of the time of a whole fit, and nearer to the truth than before."""
    from composer.fitting.align import Pairs
    from composer.fitting.closest import ClosestSurface
    from composer.fitting.nonrigid import fit
    from composer.fitting.refit import refit
    from composer.geometry.edge_loop import edge_loop
    from composer.geometry.half_edges import HalfEdges

    warm_ms, whole_ms, words, nearer = [], [], [], True
    for seed in SEEDS:
        head, triangles, sculpt, true = planted("relief", seed)
        ids = spread(head.neutral, LANDMARKS)
        surface = ClosestSurface(sculpt, triangles)
        points = Pairs(tuple(map(str, ids)), head.neutral[ids], true[ids], ids, {})
        line = edge_loop(HalfEdges(head.polygons), 4 * (head.polygons.n_faces // 3))[0][:CURVE]
        drawn = {"curve": (head.neutral[line], true[line], line)}
        asked = Pairs((), np.empty((0, 3)), np.empty((0, 3)), np.empty(0, dtype=np.int64), drawn)
        both = Pairs(points.names, points.head, points.sculpt, points.vertices, drawn)
        cage = fit(head, surface, points).positions
        out: dict[str, NDArray] = {}

        def warm(out: dict = out, args: tuple = (head, cage, surface, asked)) -> None:
            result = refit(*args)
            out["warm"], out["near"] = result.positions, result.near

        def whole(out: dict = out, args: tuple = (head, surface, both)) -> None:
            out["whole"] = fit(*args).positions

        warm_ms.append(timed(warm))
        whole_ms.append(timed(whole))
        near = out["near"]
        before, after, anew = (
            float(np.linalg.norm(each - true, axis=1)[near].mean()) for each in (cage, out["warm"], out["whole"])
        )
        nearer &= after <= before
        words.append(f"{before:.2f} {after:.2f} {anew:.2f}")
    ms, reference = median(warm_ms), median(whole_ms)
    note = f"a drawn curve of {CURVE} vertices; true error near it in mm before, after, and of a whole fit: "
    return [
        Row(
            "refit near a drawn curve", ms, middle_half(warm_ms), "a whole fit through it", reference, ms / reference,
            f"<= {MOST_MS:g} ms, <= {MOST_RATIO:g}x", ms <= MOST_MS and ms <= MOST_RATIO * reference and nearer,
            note + "; ".join(words),
        )
    ]  # fmt: skip
