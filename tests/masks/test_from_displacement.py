"""Regions from what moves together: planted motions are found again, the same way every time."""

from __future__ import annotations

import numpy as np
import pytest

from masks.errors import MaskError
from masks.from_displacement import from_displacement
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


def test_seeds_come_in_pairs_where_the_sides_are_known() -> None:
    at = np.arange(3600).reshape(60, 60)
    partner = at[::-1].ravel()
    made = from_displacement(FLAT, library(), 9, ramp_mm=4.0, partner=partner)
    seeds = set(made.seeds.values())
    assert sum(int(partner[seed]) in seeds for seed in seeds) >= 6
    with pytest.raises(MaskError, match="permutation"):
        from_displacement(FLAT, library(), 9, partner=np.zeros(3600, dtype=int))


def test_parts_stay_out() -> None:
    skin = FLAT.positions[:, 0] < 80
    made = from_displacement(FLAT, library(), 9, skin=skin)
    assert max(mask[~skin].max() for mask in made.masks.values()) == 0.0


def test_what_cannot_be_parted_is_refused() -> None:
    with pytest.raises(MaskError, match="no shape"):
        from_displacement(FLAT, [])
    with pytest.raises(MaskError, match="no shape moves"):
        from_displacement(FLAT, [np.zeros((3600, 3))])
    with pytest.raises(MaskError, match="shape 0"):
        from_displacement(FLAT, [np.zeros((5, 3))])
    one = from_displacement(FLAT, library()[:1], 12)
    assert 1 <= len(one.masks) <= 12 and one.held > 0.95
