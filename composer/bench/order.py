"""The vertex order of a shuffled mesh of 2.6 million vertices recovered, beside one stable sort of its corners."""

from __future__ import annotations

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, measure
from composer.geometry.polygons import Polygons
from composer.head.levels import levels, refine
from composer.head.order import match_order


def rows() -> list[Row]:
    """Level 4 of a 10,000 vertex cage, at most 20 s. It is symmetric: positions decide among 24 matches."""
    cage, positions = cube_sphere(41)
    steps = levels(cage, 4)
    finer, places = steps[-1].polygons, refine(positions, steps)
    rng = np.random.default_rng(0)
    order, faces = rng.permutation(finer.n_vertices), rng.permutation(finer.n_faces)
    shuffled = order[finer.indices.reshape(-1, 4)[faces]].astype(np.int32).ravel()
    shuffled_places = np.empty_like(places)
    shuffled_places[order] = places

    def run() -> None:
        """Match new copies of both meshes, without tables cached by an earlier run."""
        fresh = Polygons(finer.counts, finer.indices, finer.n_vertices)
        other = Polygons(finer.counts, shuffled, finer.n_vertices)
        match = match_order(fresh, other, places, shuffled_places)
        if not np.array_equal(match.vertices, order):
            raise RuntimeError("the order that was found is not the shuffled one")

    return [
        measure(
            f"order of {finer.n_vertices:,} vertices",
            run,
            "one stable sort of the corners",
            lambda: np.argsort(shuffled, kind="stable"),
            repeats=2,
            warm=0,
            most_ms=20_000.0,
        )
    ]
