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


def normals(surface: Surface, at: np.ndarray) -> np.ndarray:
    """(f, 3) the cross product of each quad's diagonals, twice its vector area."""
    a, b, c, d = at[surface.polygons.indices.reshape(-1, 4)].transpose(1, 0, 2)
    return np.cross(c - a, d - b)


def reach(surface: Surface, shape: np.ndarray, one: np.ndarray, other: np.ndarray) -> float:
    """The most that a shape moves a vertex where both masks are above 0.02, mm."""
    both = (one > 0.02) & (other > 0.02)
    return float(np.linalg.norm(shape[both], axis=1).max(initial=0.0))


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), strength=st.floats(1.0, 4.0))
def test_a_shape_cut_by_a_region_turns_no_face_that_its_ramps_should_bear(seed: int, strength: float) -> None:
    """Where it moves the skin by less than 0.6 of the ramps of the borders it is cut along, and not by itself."""
    rng = np.random.default_rng(seed)
    shapes = [strength * shape * (1.0, 1.0, 0.2) for shape in bumps(rng)]
    made = from_displacement(FLAT, shapes, 8)
    names, rest = list(made.masks), normals(FLAT, FLAT.positions)
    corners = FLAT.polygons.indices.reshape(-1, 4)
    for shape in shapes:
        alone = np.einsum("ij,ij->i", normals(FLAT, FLAT.positions + shape), rest) < 0
        for name in names:
            mask = made.masks[name]
            turned = np.einsum("ij,ij->i", normals(FLAT, FLAT.positions + mask[:, None] * shape), rest) < 0
            folded = corners[turned & ~alone]
            beside = [other for other in names if other != name and (made.masks[other][folded] > 0.02).any()]
            for other in beside:
                pair = (name, other) if (name, other) in made.ramps_mm else (other, name)
                if pair in made.ramps_mm:
                    widest = 0.9 * np.sqrt(min(float(FLAT.mass[made.masks[each] > 0.5].sum()) for each in pair))
                    borne = reach(FLAT, shape, mask, made.masks[other]) < 0.6 * made.ramps_mm[pair]
                    assert not borne or made.ramps_mm[pair] > widest, (name, other)


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_ramp_is_narrower_than_the_mesh_and_the_face_bear_and_softness_widens_them(seed: int) -> None:
    shapes = bumps(np.random.default_rng(seed))
    one, soft = from_displacement(FLAT, shapes, 8), from_displacement(FLAT, shapes, 8, softness=1.6)
    moved = np.max([np.linalg.norm(shape, axis=1) for shape in shapes], axis=0) > 1.0
    width = min(np.ptp(FLAT.positions[moved], axis=0)[:2])
    for made in (one, soft):
        for ramp in made.ramps_mm.values():
            assert ramp >= 2 * 2.0 and ramp >= 0.06 * 0.5 * width
    assert np.median(list(soft.ramps_mm.values())) >= np.median(list(one.ramps_mm.values()))


def test_each_border_has_the_width_over_which_the_motion_falls_off_there() -> None:
    """Two steep pairs of plates on the left, two that go over gently on the right."""
    x, y = FLAT.positions[:, 0], FLAT.positions[:, 1]

    def plate(low: float, high: float, soft: float) -> np.ndarray:
        return 1 / (1 + np.exp(-(x - low) / soft)) / (1 + np.exp((x - high) / soft)) * (np.abs(y - 59) < 50)

    fields = [plate(2, 28, 1.0), plate(28, 54, 1.0), plate(66, 92, 3.5), plate(92, 118, 3.5)]
    shapes = [field[:, None] * np.array(way) * 3.0 for field in fields for way in ((1, 0, 0), (0, 1, 0), (0, 0, 1))]
    made = from_displacement(FLAT, shapes, 4)
    place = {name: float(FLAT.positions[seed, 0]) for name, seed in made.seeds.items()}
    a, b, c, d = sorted(place, key=lambda name: place[name])
    steep, gentle = (made.ramps_mm[tuple(sorted(pair))] for pair in ((a, b), (c, d)))
    assert gentle > 1.3 * steep


def test_a_crumb_goes_to_its_neighbour_and_sets_no_ramp() -> None:
    shapes = library()
    away = np.hypot(FLAT.positions[:, 0] - 70, FLAT.positions[:, 1] - 60)
    crumb = np.exp(-((away / 1.5) ** 2))[:, None] * np.array([0.0, 0.0, 9.0])
    made, without = from_displacement(FLAT, [*shapes, crumb], 16), from_displacement(FLAT, shapes, 16)
    areas = [float(FLAT.mass[mask > 0.5].sum()) for mask in made.masks.values()]
    floor = min(made.ramps_mm.values()) / 2
    assert min(areas) > 0.5 * floor**2
    assert min(made.ramps_mm.values()) >= 0.9 * min(without.ramps_mm.values())


def test_an_asked_ramp_is_taken_however_narrow() -> None:
    made = from_displacement(FLAT, library(), 9, ramp_mm=3.0)
    assert set(made.ramps_mm.values()) == {3.0}
    hard = from_displacement(FLAT, library(), 9, ramp_mm=0.0)
    assert set(np.unique(np.stack(list(hard.masks.values()))).tolist()) == {0.0, 1.0}


def test_what_is_held_is_told_before_the_noise_is_taken_off() -> None:
    """A formula of its own: squared displacement by area under the masks, over all of it, on the skin."""
    skin = FLAT.positions[:, 0] < 90
    shapes = library(noise=0.02)
    still = [shape * (np.linalg.norm(shape, axis=1) > 0.15)[:, None] for shape in shapes]
    made = from_displacement(FLAT, still, 9, skin=skin)
    energy = sum(np.einsum("ij,ij->i", shape, shape, dtype=float) for shape in still) * FLAT.mass * skin
    under = np.sum(list(made.masks.values()), axis=0)
    assert made.held == pytest.approx(float(under @ energy / energy.sum()), rel=1e-6)
    noisy = from_displacement(FLAT, library(noise=0.3), 9)
    assert noisy.held < 0.97  # a third of a millimetre everywhere lies outside the regions as well


def test_where_no_skin_keeps_still_it_is_said() -> None:
    rng = np.random.default_rng(5)
    x, y = FLAT.positions[:, 0] / 118, FLAT.positions[:, 1] / 118
    restless = []
    for shape in library():
        a, b, c = rng.uniform(2, 5, 3)
        wave = np.stack([np.sin(a * np.pi * x + b), np.cos(b * np.pi * y + c), np.sin(c * np.pi * (x + y))], axis=1)
        restless.append(shape + 3.0 * wave)
    assert from_displacement(FLAT, library(), 9).uncertain == ()
    assert len(from_displacement(FLAT, restless, 9).uncertain) > 20


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
    with pytest.raises(MoueError, match="ramp"):
        from_displacement(FLAT, library(), softness=0.0)
    one = from_displacement(FLAT, library()[:1], 12)
    assert 1 <= len(one.masks) <= 12 and one.held > 0.95
