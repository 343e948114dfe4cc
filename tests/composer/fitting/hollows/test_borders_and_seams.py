"""Hair and hats, sealed seams, shown hollows, and room for the eyes: laws on made skins."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.fitting.align import Similarity
from composer.fitting.closest import ClosestSurface
from composer.fitting.eye_room import ENOUGH, room_behind_lids
from composer.fitting.hollows.beside_seam import beside_seam
from composer.fitting.hollows.borders import FAR, borders, distortion, with_library_form
from composer.fitting.hollows.counted import soundness
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import PLACES
from composer.fitting.hollows.shown import ENOUGH as SHOWN
from composer.fitting.hollows.shown import shown_share
from composer.fitting.sealed import find_seams, seam_zone
from composer.fitting.zones import free_zones
from composer.head.head import Head
from tests.demo_heads import neutral_head


@pytest.fixture(scope="module")
def keeper() -> Head:
    return neutral_head("keeper")


@pytest.fixture(scope="module")
def library(keeper: Head) -> LibrarySkin:
    return LibrarySkin.of(keeper)


@settings(max_examples=5)
@given(st.integers(0, 2**31 - 1), st.floats(0.5, 2.0))
def test_a_turned_and_scaled_skin_has_no_distortion_and_no_border(seed: int, scale: float) -> None:
    keeper = neutral_head("keeper")
    library = LibrarySkin.of(keeper)
    assert keeper.landmarks is not None
    turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))[:3, :3]
    there = scale * library.surface.positions @ turn.T
    np.testing.assert_allclose(distortion(library.surface.at(there), library.surface.positions), 0.0, atol=1e-6)
    places, every = library.places(keeper, keeper.landmarks), np.ones(len(there), dtype=bool)
    assert borders(library, there, every, places, keeper.landmarks, keeper.neutral) == []


def test_tufts_on_the_crown_are_found_asked_about_and_smoothed(keeper: Head, library: LibrarySkin) -> None:
    assert keeper.landmarks is not None
    rest = library.surface.positions
    crown = rest[:, 1] > rest[:, 1].max() - 45.0
    lot = np.random.default_rng(5).normal(0.0, 7.0, len(rest))
    tufted = rest + np.where(crown, lot, 0.0)[:, None] * library.surface.vertex_normals
    places, every = library.places(keeper, keeper.landmarks), np.ones(len(rest), dtype=bool)
    found = borders(library, tufted, every, places, keeper.landmarks, keeper.neutral)
    assert found and all("above the eyes" in one.words and "?" in one.words for one in found)
    assert all((places[one.flags] == len(PLACES)).all() and crown[one.flags].mean() > 0.7 for one in found)
    formed, moved = with_library_form(library, tufted, found, every)
    np.testing.assert_array_equal(formed[~moved], tufted[~moved])
    core = np.logical_or.reduce([one.flags for one in found])
    before, after = (distortion(library.surface.at(v), rest)[core] for v in (tufted, formed))
    assert np.median(after) < 0.5 * np.median(before) and np.median(after) < FAR


def test_the_library_itself_is_sound(keeper: Head) -> None:
    assert keeper.landmarks is not None
    found = soundness(keeper, keeper.landmarks, keeper.neutral)
    assert found.crossing == found.crossing_library
    assert found.through == found.inside_out == {} and not found.broken and not found.many


def test_teeth_pushed_through_the_lips_are_told(keeper: Head) -> None:
    assert keeper.landmarks is not None
    pushed = keeper.neutral.copy()
    for part in keeper.parts:
        if part.name.startswith("teeth"):
            pushed[part.vertices] += [0.0, 0.0, 14.0]
    found = soundness(keeper, keeper.landmarks, pushed)
    assert any(name.startswith("teeth") for name in found.through) and found.broken


def test_nostrils_pulled_outwards_are_told_as_inside_out_or_crossing(real_head: Head, real_marks) -> None:  # type: ignore[no-untyped-def]
    head = real_head.with_(landmarks=real_marks)
    library = LibrarySkin.of(head)
    places = library.places(head, real_marks)
    out = head.neutral.copy()
    for piece in library.cavities.pieces:
        if places[piece][0] == PLACES.index("nose"):
            vertices = library.skin.vertices[piece]
            side = np.sign(head.neutral[vertices, 0].mean())
            out[vertices] += [16.0 * side, 0.0, 0.0]  # mm: through the wing
    found = soundness(head, real_marks, out)
    assert found.crossing["nose"] > 50 and found.crossing_library["nose"] == 0
    assert found.inside_out.get("nose", 0) > 10 and found.broken and found.many


def bowl(depth: float) -> ClosestSurface:
    """A plate of 60 mm with a well of radius 6 mm and this depth in its middle."""
    side = np.linspace(-30.0, 30.0, 81)
    x, y = np.meshgrid(side, side, indexing="ij")
    r = np.hypot(x, y)
    z = -depth * np.clip((7.0 - r) / 2.0, 0.0, 1.0)
    i = np.arange(81 * 81).reshape(81, 81)
    quads = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], axis=-1).reshape(-1, 4)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return ClosestSurface(np.stack([x, y, z], axis=-1).reshape(-1, 3), triangles)


def test_a_deep_well_is_shown_and_a_plate_is_not() -> None:
    random = np.random.default_rng(1)
    angle, radius = random.uniform(0, 2 * np.pi, 60), 4.0 * np.sqrt(random.random(60))
    at = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full(60, -15.0)], axis=1)
    up, known = np.tile([0.0, 0.0, 1.0], (60, 1)), np.full(60, 0.05)
    assert shown_share(bowl(16.0), at, up, known) > SHOWN
    assert shown_share(bowl(0.0), at, up, known) == 0.0
    assert shown_share(bowl(16.0), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0)) == 0.0


def test_beside_a_seam_the_outer_side_goes_to_the_sculpt_and_the_gap_stays(keeper: Head, library: LibrarySkin) -> None:
    assert keeper.landmarks is not None
    hollow, _ = free_zones(keeper)
    seam = find_seams(keeper, keeper.landmarks)[0]
    skin, rank = library.skin.vertices, library.skin.rank
    zone = seam_zone(keeper, seam, hollow)[skin]
    sculpt_at = library.surface.positions + 1.5 * library.surface.vertex_normals  # lips that are fuller by 1.5 mm
    sculpt = ClosestSurface(sculpt_at, library.skin.polygons.triangles)
    start = library.surface.positions
    formed = beside_seam(library, start, zone, rank[seam.line], rank[seam.across], sculpt)
    np.testing.assert_array_equal(formed[~zone], start[~zone])
    far = np.linalg.norm(start - start[rank[seam.line]].mean(axis=0), axis=1)
    outer = zone & (library.cavities.visibility > 0.6) & (far > 12.0)
    before, after = (sculpt.closest(v[outer]).distance.mean() for v in (start, formed))
    assert after < 0.6 * before
    one, other = rank[seam.across].T
    gap, own = (np.linalg.norm(v[one] - v[other], axis=1).mean() for v in (formed, start))
    assert gap < 1.15 * own


STANDS = Similarity(np.eye(3), np.zeros(3))
"""A move that moves nothing."""


@settings(max_examples=25)
@given(st.integers(0, 2**31 - 1), st.floats(0.7, 1.4), st.floats(0.0, 1.5))
def test_lids_have_room(seed: int, scale: float, deep: float) -> None:
    random = np.random.default_rng(seed)
    ball = np.asarray(trimesh.creation.icosphere(subdivisions=3, radius=12.0).vertices)
    polar, around = random.uniform(0.15, 1.2, 80), random.uniform(0, 2 * np.pi, 80)
    toward = np.stack([np.sin(polar) * np.cos(around), np.sin(polar) * np.sin(around), np.cos(polar)], axis=1)
    lids = 13.0 * toward
    turn = trimesh.transformations.random_rotation_matrix(random.random(3))[:3, :3]
    centre = random.normal(0.0, 30.0, 3)
    pressed = scale * (lids - [0.0, 0.0, deep]) @ turn.T + centre
    shift, times = room_behind_lids(ball, np.zeros(3), lids, pressed, centre, Similarity(turn, centre, scale))
    left = np.linalg.norm(pressed - centre - shift, axis=1)
    assert left.min() >= times * scale * 12.0 * (1.0 - ENOUGH) - scale * 0.1  # the ball's facets
    if deep <= 0.9:
        np.testing.assert_array_equal(shift, 0.0)
        assert times == 1.0
    assert shift @ (turn @ [0.0, 0.0, 1.0]) <= 1e-9  # back, never forward
    assert np.linalg.norm(shift) <= scale * deep + 1e-9 and 0.92 <= times <= 1.0  # the least that does


def test_lids_that_moved_over_the_cornea_have_room() -> None:
    ball = np.asarray(trimesh.creation.icosphere(subdivisions=4, radius=12.0).vertices)
    bulge = np.arccos(np.clip(ball[:, 2] / 12.0, -1.0, 1.0)) < 0.5
    ball[bulge] *= 13.0 / 12.0
    polar, around = np.meshgrid(np.linspace(0.55, 0.75, 8), np.linspace(0, 2 * np.pi, 24, endpoint=False))
    at = [np.stack([np.sin(p) * np.cos(around), np.sin(p) * np.sin(around), np.cos(p)], axis=-1).reshape(-1, 3)
          for p in (polar, polar - 0.2)]  # fmt: skip
    lids, moved = 12.2 * at[0], 12.2 * at[1]  # closed over the bulge, which is 0.8 mm higher than they are
    shift, times = room_behind_lids(ball, np.zeros(3), lids, moved, np.zeros(3), STANDS)
    placed = trimesh.PointCloud(times * ball + shift)
    nearest = placed.kdtree.query(moved)[1]
    assert (np.linalg.norm(moved, axis=1) >= np.linalg.norm(placed.vertices[nearest], axis=1) - 0.1).all()
    assert shift[2] < 0.0


def test_a_ball_between_flat_lids_becomes_smaller() -> None:
    ball = np.asarray(trimesh.creation.icosphere(subdivisions=3, radius=12.0).vertices)
    lids = 12.5 * np.concatenate([np.eye(3), -np.eye(3), [[0.6, 0.8, 0.0], [0.0, 0.6, -0.8]]])
    pressed = 0.93 * lids  # 11.6 mm from the centre on all sides: no shift makes room
    shift, times = room_behind_lids(ball, np.zeros(3), lids, pressed, np.zeros(3), STANDS)
    np.testing.assert_allclose(shift, 0.0, atol=0.05)
    assert 11.6 / 12.0 - 0.02 < times < 11.6 / 12.0 + 0.02
