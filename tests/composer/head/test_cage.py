"""Catmull-Clark undone: the law that a subdivided cage comes back, in any order, with borders, at several levels."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.polygons import Polygons
from composer.head.cage import cage_of, coarser, solve
from composer.head.levels import Refinement, levels, refine
from tests.small_heads import CUBE, CUBE_CORNERS, grid, polygon_meshes, torus

SEEDS = st.integers(0, 2**32 - 1)


@settings(deadline=None, max_examples=30)
@given(mesh=polygon_meshes(), seed=SEEDS)
def test_a_subdivided_mesh_gives_its_cage_back(mesh: Polygons, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(mesh.n_vertices, 3))
    step = Refinement(mesh)
    finer = step.apply(points)
    cage = cage_of(step.polygons, finer)
    assert cage is not None
    size = np.linalg.norm(np.ptp(finer, axis=0))
    np.testing.assert_allclose(cage.step.apply(cage.positions), finer[cage.order], rtol=0, atol=1e-6 * size)
    assert cage.error <= 1e-6 * size


@settings(deadline=None, max_examples=20)
@given(seed=SEEDS)
def test_in_moues_order_the_cage_is_the_very_one(seed: int) -> None:
    """Uneven meshes, of which no other cage gives the same subdivision."""
    mesh = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2], [5, 4, 6], [3, 2, 5, 7, 8]], 9)
    points = np.random.default_rng(seed).normal(size=(9, 3))
    step = Refinement(mesh)
    cage = cage_of(step.polygons, step.apply(points))
    assert cage is not None and cage.polygons.same_as(mesh)
    assert np.array_equal(cage.order, np.arange(step.n_vertices))
    np.testing.assert_allclose(cage.positions, points, atol=1e-9)


@settings(deadline=None, max_examples=12)
@given(seed=SEEDS, closed=st.booleans())
def test_two_levels_in_another_order_come_back(seed: int, closed: bool) -> None:
    rng = np.random.default_rng(seed)
    mesh = Polygons.from_faces([*(torus(4, 5) if closed else grid(4, 5)).indices.reshape(-1, 4).tolist(),
                                *(CUBE.indices.reshape(-1, 4) + 20).tolist()], 28)  # fmt: skip
    points = np.vstack([rng.normal(size=(20, 3)), CUBE_CORNERS + rng.normal(size=(8, 3)) * 0.1])
    steps = levels(mesh, 2)
    finer, made = refine(points, steps), steps[-1].polygons
    order = rng.permutation(made.n_vertices)
    shuffled = np.empty_like(finer)
    shuffled[order] = finer
    found = coarser(Polygons(made.counts, order[made.indices], made.n_vertices), shuffled, 2, 1e-6)
    assert [cage.polygons.n_vertices for cage in found] == [steps[1].coarse.n_vertices, 28]
    apart = np.linalg.norm(found[-1].positions[:, None] - points[None, :20], axis=2)
    assert apart.min(axis=0).max() < 1e-6  # of a cube, all valence 3, the step keeps no alternating displacement
    last, first = found[1], found[0]
    np.testing.assert_allclose(last.step.apply(last.positions), first.positions[last.order], atol=1e-9)
    np.testing.assert_allclose(first.step.apply(first.positions), shuffled[first.order], atol=1e-9)


def test_what_is_no_subdivision_has_no_cage() -> None:
    assert cage_of(CUBE, CUBE_CORNERS) is None
    assert cage_of(Polygons.from_faces([[0, 1, 2]], 3), np.eye(3)) is None
    assert cage_of(grid(4, 4), np.random.default_rng(0).normal(size=(16, 3))) is None
    assert coarser(grid(4, 4), np.random.default_rng(0).normal(size=(16, 3)), 2, 1e-4) == []


def test_detail_beyond_the_cage_is_told_and_the_cage_is_the_nearest() -> None:
    """Least squares: the normal equations, solved here with numpy on the dense factor."""
    rng = np.random.default_rng(1)
    step = Refinement(Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2], [5, 4, 6]], 7))
    finer = step.apply(rng.normal(size=(7, 3))) + 0.1 * rng.normal(size=(step.n_vertices, 3))
    dense = np.linalg.lstsq(step.matrix.toarray(), finer, rcond=None)[0]
    np.testing.assert_allclose(solve(step, finer), dense, atol=1e-9)
    cage = cage_of(step.polygons, finer)
    assert cage is not None and 0.05 < cage.error < 1.0
