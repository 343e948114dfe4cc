"""Regions from what moves together: planted motions are found again, the same way every time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.errors import MoueError
from composer.geometry.common_motion import without_head_motion
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from masks.from_displacement import MovingRegions, from_displacement
from tests.masks.surfaces import plane

FLAT = plane(60, 60, 2.0)
CENTRES = [(x, y) for x in (20, 60, 100) for y in (20, 60, 100)]


def library(seed: int = 0, noise: float = 0.0) -> list[np.ndarray]:
    """Three shapes for each of nine bumps 40 mm apart, each bump moving its own way."""
    rng = np.random.default_rng(seed)
    shapes = []
    for x, y in CENTRES:
        away = np.hypot(FLAT.positions[:, 0] - x, FLAT.positions[:, 1] - y)
        for _ in range(3):
            shapes.append((np.exp(-((away / 9) ** 2))[:, None] * rng.normal(size=3) * 5).astype(np.float32))
    return [shape + rng.normal(size=shape.shape).astype(np.float32) * noise for shape in shapes]


def test_planted_motions_are_found() -> None:
    made = from_displacement(FLAT, library(), 9, ramp_mm=4.0)
    assert len(made.masks) == 9 and made.held > 0.95
    seeds = FLAT.positions[list(made.seeds.values())][:, :2]
    for centre in CENTRES:
        assert np.linalg.norm(seeds - centre, axis=1).min() < 4.0
    total = np.sum(list(made.masks.values()), axis=0)
    assert total.max() <= 1 + 1e-12
    for x, y in CENTRES:
        there = np.hypot(FLAT.positions[:, 0] - x, FLAT.positions[:, 1] - y) < 6
        assert sum(mask[there].min() > 0.99 for mask in made.masks.values()) == 1


def test_the_same_every_time_and_nearly_the_same_under_noise() -> None:
    once, again = from_displacement(FLAT, library(), 9), from_displacement(FLAT, np.array(library()), 9)
    for name, mask in once.masks.items():
        assert np.array_equal(mask, again.masks[name])
    clean, noisy = from_displacement(FLAT, library(), 9, 4.0), from_displacement(FLAT, library(noise=0.01), 9, 4.0)
    for mask in clean.masks.values():
        overlap = [np.minimum(mask, other).sum() / np.maximum(mask, other).sum() for other in noisy.masks.values()]
        assert max(overlap) > 0.5


PARTNER = np.arange(3600).reshape(60, 60)[::-1].ravel()
"""The vertex across the plane's middle line."""


def test_regions_are_mirror_images_where_the_sides_are_known() -> None:
    made = from_displacement(FLAT, library(), 9, ramp_mm=4.0, partner=PARTNER)
    masks = list(made.masks.values())
    for mask in masks:
        assert min(float(np.abs(mask[PARTNER] - other).max()) for other in masks) == 0.0
    own = [bool(np.array_equal(mask[PARTNER], mask)) for mask in masks]
    assert own.count(True) == 3  # the bumps on the middle line
    assert len(masks) == 9
    with pytest.raises(MoueError, match="permutation"):
        from_displacement(FLAT, library(), 9, partner=np.zeros(3600, dtype=int))


def bumps(rng: np.random.Generator) -> list[np.ndarray]:
    """A library drawn at random: two shapes for each of six bumps somewhere on the plane."""
    shapes = []
    for _ in range(6):
        centre, width = rng.uniform(10, 108, 2), rng.uniform(6, 16)
        away = np.linalg.norm(FLAT.positions[:, :2] - centre, axis=1)
        for _ in range(2):
            shapes.append(np.exp(-((away / width) ** 2))[:, None] * rng.normal(size=3) * 5)
    return shapes


def same_regions(one: MovingRegions, other: MovingRegions, order: np.ndarray, least: float) -> bool:
    """Whether every region of `one` has one like it (soft overlap over union) in `other`, numbered by `order`."""
    overlaps = [
        max(np.minimum(a, b[order]).sum() / np.maximum(a, b[order]).sum() for b in other.masks.values())
        for a in one.masks.values()
    ]
    return len(one.masks) == len(other.masks) and min(overlaps) >= least


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), folded=st.booleans())
def test_renumbering_the_vertices_renumbers_the_regions(seed: int, folded: bool) -> None:
    rng = np.random.default_rng(seed)
    shapes = bumps(rng)
    order = rng.permutation(3600)
    back = np.argsort(order)
    other = Surface(Polygons(FLAT.polygons.counts, order[FLAT.polygons.indices], 3600), FLAT.positions[back])
    partner = np.empty(3600, dtype=int)
    partner[order] = order[PARTNER]
    one = from_displacement(FLAT, shapes, 8, partner=PARTNER if folded else None)
    two = from_displacement(other, [shape[back] for shape in shapes], 8, partner=partner if folded else None)
    assert list(one.masks) == list(two.masks)
    for name, mask in one.masks.items():
        assert np.abs(mask - two.masks[name][order]).max() < 1e-6


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_turning_everything_and_moving_each_scans_head_changes_nothing(seed: int) -> None:
    """Residual head motion, up to some 3 degrees and 5 mm, makes no region of its own.

    What is left of it, less than 1e-4 mm, may move a border by some vertices where two pieces are alike: of 300 random
    libraries none fell below an overlap of 0.95, one that a search found (seed 703869) has 0.938.
    """
    rng = np.random.default_rng(seed)
    shapes = bumps(rng)
    turn = Rotation.random(random_state=int(rng.integers(2**31))).as_matrix()
    moved = []
    for shape in shapes:
        nod = Rotation.from_rotvec(np.radians(3.0) * rng.uniform(-1, 1, 3)).as_matrix()
        moved.append((FLAT.positions + shape) @ nod.T + rng.uniform(-5, 5, 3) - FLAT.positions)
    still = from_displacement(FLAT, shapes, 8)
    turned = from_displacement(FLAT.at(FLAT.positions @ turn.T), [shape @ turn.T for shape in shapes], 8)
    swayed = from_displacement(FLAT, moved, 8)
    assert same_regions(still, turned, np.arange(3600), 0.99)
    assert same_regions(still, swayed, np.arange(3600), 0.9)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_rigid_motion_is_found_to_the_digit_where_most_of_the_head_is_still(seed: int) -> None:
    rng = np.random.default_rng(seed)
    away = np.linalg.norm(FLAT.positions[:, :2] - rng.uniform(20, 100, 2), axis=1)
    face = np.where(away < 30, 1 - away / 30, 0)[:, None] * rng.normal(size=3) * 8
    nod = Rotation.from_rotvec(np.radians(4.0) * rng.uniform(-1, 1, 3)).as_matrix()
    shift = rng.uniform(-8, 8, 3)
    scan = (FLAT.positions + face) @ nod.T + shift - FLAT.positions
    assert np.abs(without_head_motion(FLAT.positions, FLAT.mass, scan) - face).max() < 2e-3
    assert np.array_equal(without_head_motion(FLAT.positions, FLAT.mass, face), face)


def test_parts_stay_out() -> None:
    skin = FLAT.positions[:, 0] < 80
    made = from_displacement(FLAT, library(), 9, skin=skin)
    assert max(mask[~skin].max() for mask in made.masks.values()) == 0.0


def test_what_cannot_be_parted_is_refused() -> None:
    with pytest.raises(MoueError, match="no shape"):
        from_displacement(FLAT, [])
    with pytest.raises(MoueError, match="no shape moves"):
        from_displacement(FLAT, [np.zeros((3600, 3))])
    with pytest.raises(MoueError, match="shape 0"):
        from_displacement(FLAT, [np.zeros((5, 3))])
    one = from_displacement(FLAT, library()[:1], 12)
    assert 1 <= len(one.masks) <= 12 and one.held > 0.95
