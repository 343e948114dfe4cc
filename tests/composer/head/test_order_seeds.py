"""Signatures of corners: those of paths that are followed anew, in whatever pieces and order they are asked for."""

from __future__ import annotations

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.geometry.half_edges import HalfEdges
from composer.head.order_seeds import STAGES, Paths, Signatures, vertex_classes
from tests.small_heads import grid


def test_signatures_that_are_kept_are_those_of_paths_followed_anew() -> None:
    rng = np.random.default_rng(4)
    for polygons in (cube_sphere(4)[0], grid(5, 7)):
        mesh = HalfEdges(polygons)
        classes, _ = vertex_classes(mesh, mesh)
        kept = Signatures(mesh, classes)
        for _ in range(30):
            corners = rng.permutation(len(mesh.vertex))[: rng.integers(1, 40)].astype(np.int32)
            stage = int(rng.integers(len(STAGES)))
            fresh = Paths(mesh, corners, classes).after(STAGES[stage])
            np.testing.assert_array_equal(kept.after(corners, stage), fresh)
            np.testing.assert_array_equal(kept.classes_at(corners), classes[mesh.vertex[corners]])
