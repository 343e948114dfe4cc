"""Openings, parts and pairs: single terms of `sealed`, `parts`, `align` and `stages`, on sheets drawn on paper."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from composer.errors import MoueError
from composer.fitting.align import landmark_pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.fit_state import FitOptions, FitState
from composer.fitting.parts import _beside
from composer.fitting.sealed import Seam, _along, _one_sheet, _pieces, _touches, close_seam, find_seams, seam_zone
from composer.fitting.skin import Skin
from composer.fitting.stages import clean, project_levels
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from tests.masks.surfaces import slit_plane
from tests.small_heads import grid, random_rotation

R, C = 9, 13


def sheet(rows: int = R, columns: int = C) -> np.ndarray:
    y, x = np.meshgrid(np.arange(float(rows)), np.arange(float(columns)), indexing="ij")
    return np.stack([x.ravel(), y.ravel(), 0.0 * x.ravel()], axis=1)


def head() -> Head:
    return Head("sheet", grid(R, C), sheet())


def at(row: int, column: int) -> int:
    return row * C + column


def flags(n: int, *vertices: int) -> np.ndarray:
    found = np.zeros(n, dtype=bool)
    found[list(vertices)] = True
    return found


POINTS = {
    "cheilion_right": at(4, 2), "stomion": at(4, 6), "cheilion_left": at(4, 10),
    "labiale_superius": at(5, 6), "labiale_inferius": at(3, 6),
}  # fmt: skip


@pytest.mark.parametrize(("row", "first"), [(4, 2), (0, 0)])
def test_without_curves_the_mouth_runs_from_corner_to_corner_through_its_middle(row: int, first: int) -> None:
    points = {**POINTS, "cheilion_right": at(row, first), "stomion": at(row, 6), "cheilion_left": at(row, 10)}
    (mouth,) = find_seams(head(), Landmarks(points))
    assert mouth.line.tolist() == [at(row, column) for column in range(first, 11)]
    assert mouth.above.tolist() == [at(5, 6)] and mouth.below.tolist() == [at(3, 6)]
    np.testing.assert_array_equal(mouth.between, [[6.0, float(row), 0.0]])


@pytest.mark.parametrize(("columns", "row"), [((2, 6, 10), 6), ((2, 10), 5)])
def test_what_lies_across_the_mouth_is_told_by_the_lips_borders_where_they_are_curves(
    columns: tuple[int, ...], row: int
) -> None:
    rows = {"lip_line_upper": 5, "lip_line_lower": 4, "upper_lip": 6, "lower_lip": 3}
    lines = {name: [at(y, x) for x in (columns if "line" not in name else (2, 6, 10))] for name, y in rows.items()}
    (mouth,) = find_seams(head(), Landmarks(curves={name: np.array(line) for name, line in lines.items()}))
    assert set(mouth.above.tolist()) == {at(row, 6)}
    np.testing.assert_allclose(mouth.between, np.tile([6.0, 4.5, 0.0], (5, 1)))


def test_a_curve_of_three_vertices_is_a_curve_and_one_of_two_is_none() -> None:
    def marks(*columns: int) -> Landmarks:
        lines = {"upper_lid_left": 5, "lower_lid_left": 3}
        return Landmarks(curves={name: np.array([at(row, c) for c in columns]) for name, row in lines.items()})

    (eye,) = find_seams(head(), marks(2, 6, 10))
    assert eye.name == "left eye" and set(eye.above.tolist()) == {at(5, 6)} and set(eye.below.tolist()) == {at(3, 6)}
    np.testing.assert_allclose(eye.between, np.tile([6.0, 4.0, 0.0], (5, 1)))
    assert find_seams(head(), marks(2, 10)) == []


def test_lines_run_the_same_way() -> None:
    places = sheet()
    first, second = np.array([at(4, c) for c in (2, 6, 10)]), np.array([at(5, c) for c in (1, 6, 11)])
    assert _along(first, second, places).tolist() == second.tolist()
    assert _along(first, second[::-1], places).tolist() == second.tolist()


def test_a_sheet_leads_straight_across_and_a_slit_one_does_not() -> None:
    surface, _, _ = slit_plane(12, 40, 25)
    whole = ClosestSurface(sheet(25, 40)[:, [1, 0, 2]], grid(25, 40).triangles)
    slit = ClosestSurface(surface.positions, surface.polygons.triangles)
    y = np.array([4.0, 8.0, 12.0])
    above, below, between = (np.stack([np.full(3, x), y, 0 * y], axis=1) for x in (14.0, 10.0, 12.0))
    assert _one_sheet(whole, above, below, between)
    assert not _one_sheet(slit, above, below, between)


def test_pieces_touch_where_an_edge_joins_them_from_either_end() -> None:
    skin = Skin.of(head())
    n = len(skin.vertices)
    one, beside, away = flags(n, at(2, 2)), flags(n, at(2, 3)), flags(n, at(2, 5), at(3, 5))
    assert _touches(skin, one, beside) and _touches(skin, beside, one)
    assert not _touches(skin, one, away) and not _touches(skin, away, one)
    assert [np.flatnonzero(piece).tolist() for piece in _pieces(skin, one | away)] == [
        [at(2, 2)], [at(2, 5), at(3, 5)]
    ]  # fmt: skip


def test_the_zone_of_a_seam_takes_in_the_hollow_behind_it_and_nothing_that_is_most_of_the_head() -> None:
    line = np.array([at(4, c) for c in range(4, 9)])
    seam = Seam("mouth", line, line[:1], line[:1], np.zeros((1, 3)))
    hollow = flags(R * C, *(at(3, c) for c in range(4, 9))).astype(float)
    apart = hollow + flags(R * C, at(0, 0))
    found = np.flatnonzero(seam_zone(head(), seam, apart)).tolist()
    assert found == sorted([*line.tolist(), *(at(3, c) for c in range(4, 9))])
    wide = np.where(np.isin(np.arange(R * C), line), 0.0, 1.0)
    assert np.flatnonzero(seam_zone(head(), seam, wide)).tolist() == line.tolist()


def test_a_closed_zone_goes_where_its_surroundings_go() -> None:
    whole = head()
    turn, zone = random_rotation(np.random.default_rng(1)), flags(R * C, at(4, 5), at(4, 6), at(4, 7))
    moved = 1.5 * whole.neutral @ turn.T + [3.0, 4.0, 5.0]
    torn = moved + np.where(zone[:, None], [0.0, 0.0, 9.0], 0.0)
    pairs = landmark_pairs(whole, Landmarks(), Landmarks(), whole.neutral)
    np.testing.assert_allclose(close_seam(whole, torn, zone, np.zeros(R * C), pairs), moved, atol=1e-6)


def test_a_landmark_in_a_closed_zone_goes_to_its_place() -> None:
    whole, zone = head(), flags(R * C, at(4, 5), at(4, 6), at(4, 7))
    place = whole.neutral[at(4, 6)] + [0.0, 0.0, 0.5]
    sculpt = np.where(np.arange(R * C)[:, None] == at(4, 6), place, whole.neutral)
    pairs = landmark_pairs(whole, Landmarks({"stomion": at(4, 6)}), Landmarks({"stomion": at(4, 6)}), sculpt)
    torn = whole.neutral + np.where(np.arange(R * C)[:, None] == at(3, 6), [0.0, 0.0, 7.0], 0.0)
    free = np.where(np.arange(R * C) == at(3, 6), 0.6, 0.0)  # free from 1/2 on: it does not say where the zone goes
    closed = close_seam(whole, torn, zone, free, pairs)
    np.testing.assert_array_equal(closed, close_seam(whole, whole.neutral, zone, free, pairs) + torn - whole.neutral)
    closed = close_seam(whole, whole.neutral, zone, np.zeros(R * C), pairs)
    np.testing.assert_allclose(closed[at(4, 6)], place, atol=1e-6)
    assert 0.05 < closed[at(4, 5), 2] < 0.5
    np.testing.assert_array_equal(closed[~zone], whole.neutral[~zone])


@pytest.mark.parametrize("size", [0.6, 1.0, 1.7])
def test_what_lies_beside_the_skin_goes_with_its_triangle_s_turn_and_size(size: float) -> None:
    own = ClosestSurface(sheet(3, 3), grid(3, 3).triangles)
    turn = random_rotation(np.random.default_rng(3))
    points = np.array([[0.3, 0.4, 0.7], [1.6, 1.2, -0.25], [-0.5, 0.5, 0.1]])
    fitted, expected = (size * each @ turn.T + [1.0, 2.0, 3.0] for each in (sheet(3, 3), points))
    np.testing.assert_allclose(_beside(own, fitted, points), expected, atol=1e-12)


def test_a_curve_of_two_places_is_a_pair_and_one_of_one_is_none() -> None:
    whole = head()
    ours = Landmarks({"a": 3}, {"two": np.array([1, 5]), "lone": np.array([7, 8]), "ours": np.array([1, 2])})
    theirs = Landmarks({"a": 9, "b": 1}, {"two": np.array([2, 6]), "lone": np.array([7]), "other": np.array([1, 2])})
    pairs = landmark_pairs(whole, ours, theirs, sheet() + [0.0, 0.0, 2.0])
    assert pairs.names == ("a",) and pairs.vertices.tolist() == [3] and list(pairs.curves) == ["two"]
    np.testing.assert_array_equal(pairs.sculpt, [[9.0, 0.0, 2.0]])
    here, there, ids = pairs.curves["two"]
    assert ids.tolist() == [1, 5] and here[:, 0].tolist() == [1.0, 5.0] and there[:, 0].tolist() == [2.0, 6.0]


def state_of(**options: object) -> FitState:
    whole, marks = head(), Landmarks()
    return FitState(whole, marks, whole.neutral, whole.polygons, marks, FitOptions(**options))  # type: ignore[arg-type]


def test_a_reach_of_nothing_is_refused_before_anything_is_done() -> None:
    with pytest.raises(MoueError, match="nothing to project"):
        clean(state_of(reach_mm=-1.0), lambda fraction, words: None)


@pytest.mark.parametrize("reach", [None, 0.1])
def test_unless_said_a_vertex_is_projected_as_far_as_1_5_percent_of_the_diagonal(reach: float | None) -> None:
    begun = state_of(up_to=0, reach_mm=reach)
    whole = begun.head
    pairs = landmark_pairs(whole, begun.marks, begun.sculpt_marks, whole.neutral)
    height = 0.15  # mm; the diagonal is that of 12 by 8, 14.42 mm
    lifted = ClosestSurface(whole.neutral + [0.0, 0.0, height], whole.polygons.triangles)
    state = replace(
        begun, pairs=pairs, free=np.zeros(R * C), mended=np.zeros(R * C, dtype=bool), positions=whole.neutral,
        clean=SimpleNamespace(surface=lifted),
    )  # fmt: skip
    done = project_levels(state, lambda fraction, words: None)
    assert done.reach_mm == pytest.approx(0.015 * np.hypot(12.0, 8.0) if reach is None else reach)
    assert done.levels[0].rejected.all() == (reach is not None)
