"""A sculpt whose lips are one sheet: said, and fitted without a torn mouth; an open one is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from composer.fitting.align import check_pairs, landmark_pairs
from composer.fitting.chain import FittedHead, fit_head
from composer.fitting.fit_state import FitOptions
from composer.fitting.loops import Loops
from composer.fitting.open_folds import open_folds
from composer.fitting.sculpt import clean_sculpt
from composer.fitting.sealed import close_seam, find_seams, sealed_seams, seam_zone
from composer.fitting.skin import Skin
from composer.fitting.zones import free_zones
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.landmarks import Landmarks
from masks.from_loops import enclosed
from tests.demo_heads import neutral_head, sculpt

POINTS = ("stomion", "cheilion_left", "cheilion_right", "labiale_superius", "labiale_inferius")


@pytest.fixture(scope="module")
def keeper():  # type: ignore[no-untyped-def]
    return neutral_head("keeper")


@pytest.fixture(scope="module")
def ferrier():  # type: ignore[no-untyped-def]
    return sculpt("ferrier")


@pytest.fixture(scope="module")
def welded():  # type: ignore[no-untyped-def]
    """Ferrier with the lips sewn together: ferrier's cage less the inside of its mouth, a strip across the gap."""
    head = neutral_head("ferrier")
    assert head.landmarks is not None
    curves = head.landmarks.curves
    upper, lower = (np.asarray(curves[f"lip_line_{side}"]) for side in ("upper", "lower"))
    skin = Skin.of(head)
    surface = Surface(skin.polygons, head.neutral[skin.vertices])
    rim = np.concatenate([upper, lower[-2:0:-1]])
    inside = enclosed(surface, skin.rank[rim], int(skin.rank[np.asarray(curves["mouth_inner"])[0]]))
    quads = skin.polygons.indices.reshape(-1, 4)
    keep = quads[~inside[quads].any(axis=1)]
    up, low = skin.rank[upper], skin.rank[lower]
    strip = np.stack([up[:-1], low[:-1], low[1:], up[1:]], axis=1)
    triangles = np.concatenate([q[:, c] for q in (keep, strip) for c in ([0, 1, 2], [0, 2, 3])])
    triangles = triangles[(triangles[:, 0] != triangles[:, 1]) & (triangles[:, 1] != triangles[:, 2])
                          & (triangles[:, 2] != triangles[:, 0])]  # fmt: skip
    positions = head.neutral[skin.vertices]
    places = {name: head.landmarks.position(name, head.neutral) for name in head.landmarks.points}
    marks = Landmarks({name: (float(p[0]), float(p[1]), float(p[2])) for name, p in places.items()}, {})
    return positions, Polygons(np.full(len(triangles), 3), triangles.ravel(), len(positions)), marks


@pytest.fixture(scope="module")
def fitted(keeper, welded) -> FittedHead:  # type: ignore[no-untyped-def]
    positions, polygons, marks = welded
    return fit_head(keeper, positions, polygons, keeper.landmarks, marks, FitOptions(up_to=1))


def _sealed(keeper, positions, polygons, marks, own=None) -> list[str]:  # type: ignore[no-untyped-def]
    clean = clean_sculpt(positions, polygons)
    pairs = landmark_pairs(keeper, own or keeper.landmarks, marks, positions)
    aligned, _ = check_pairs(pairs, keeper, clean.surface)
    seams, _ = sealed_seams(keeper, own or keeper.landmarks, pairs, aligned, clean.surface, clean.balls)
    return [seam.name for seam in seams]


def test_an_open_mouth_is_not_taken_for_sealed_and_a_sewn_one_is(keeper, ferrier, welded) -> None:  # type: ignore[no-untyped-def]
    assert _sealed(keeper, ferrier.positions, ferrier.polygons, ferrier.landmarks) == []
    assert "mouth" in _sealed(keeper, *welded)


def test_points_alone_find_the_mouth(keeper, ferrier, welded) -> None:  # type: ignore[no-untyped-def]
    own = Landmarks(keeper.landmarks.points, {})
    assert [seam.name for seam in find_seams(keeper, own)] == ["mouth"]
    positions, polygons, marks = welded
    assert _sealed(keeper, positions, polygons, marks, own) == ["mouth"]
    assert _sealed(keeper, ferrier.positions, ferrier.polygons, ferrier.landmarks, own) == []
    line = find_seams(keeper, own)[0].line
    lips = np.concatenate([np.asarray(keeper.landmarks.curves[f"lip_line_{side}"]) for side in ("upper", "lower")])
    away = np.linalg.norm(keeper.neutral[line][:, None] - keeper.neutral[lips], axis=2).min(axis=1)
    assert away.max() < 4.0  # mm: the way from corner to corner runs along the lips


def test_a_sewn_mouth_is_said_and_no_face_is_bad(fitted: FittedHead) -> None:
    assert any("lips are sealed" in note for note in fitted.report.notes)
    assert fitted.report.reversed_faces == fitted.report.folded_faces == 0
    assert [level.bad_faces for level in fitted.levels] == [0, 0]
    assert max(fitted.report.landmarks[name] for name in POINTS) < 2.0


def test_lips_keep_the_library_s_gap(fitted: FittedHead, keeper) -> None:  # type: ignore[no-untyped-def]
    upper, lower = (np.asarray(keeper.landmarks.curves[f"lip_line_{side}"]) for side in ("upper", "lower"))
    before = keeper.neutral[upper] - keeper.neutral[lower]
    for level in fitted.levels:
        after = (level.positions[upper] - level.positions[lower]) / fitted.report.scale
        assert np.linalg.norm(after - before, axis=1).max() < 1.0  # mm; torn lips stand many apart
        assert (after * before).sum(axis=1)[1:-1].min() > 0  # none has crossed the other


def test_closing_is_the_similarity_where_the_surroundings_are(keeper) -> None:  # type: ignore[no-untyped-def]
    hollow, _ = free_zones(keeper)
    zone = seam_zone(keeper, find_seams(keeper, keeper.landmarks)[0], hollow)
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    there = 1.3 * keeper.neutral @ turn.T + [5.0, 6.0, 7.0]
    spoilt = np.where(zone[:, None], 0.0, there)
    marks = Landmarks({name: tuple(1.3 * turn @ keeper.neutral[v] + [5.0, 6.0, 7.0])
                       for name, v in keeper.landmarks.points.items()}, {})  # fmt: skip
    pairs = landmark_pairs(keeper, keeper.landmarks, marks, there)
    closed = close_seam(keeper, spoilt, zone, np.maximum(hollow, zone), pairs)
    assert np.abs(closed - there).max() < 1e-6


def test_mending_ends_without_bad_faces_and_leaves_the_rest(keeper) -> None:  # type: ignore[no-untyped-def]
    skin = Skin.of(keeper)
    own = keeper.neutral[skin.vertices]
    loops = Loops(skin.polygons, own)
    lot = np.random.default_rng(4)
    spot = np.linalg.norm(own - own[skin.rank[keeper.landmarks.points["alare_left"]]], axis=1) < 12.0
    spoilt = own + spot[:, None] * lot.normal(0.0, 6.0, own.shape)
    assert loops.bad(spoilt).sum() > 10
    opened, changed = open_folds(skin.polygons, spoilt, loops, own, width_mm=12.0)
    assert not loops.bad(opened).any()
    assert (opened[~changed] == spoilt[~changed]).all() and changed.sum() < 0.2 * len(own)
    everywhere = lot.normal(0.0, 100.0, own.shape)
    assert not loops.bad(open_folds(skin.polygons, everywhere, loops, own, width_mm=12.0)[0]).any()
