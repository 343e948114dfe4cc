"""The brush: along the surface, never across a line, never round a fold, and the same again on replay."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.barriers import Barriers, edge_path
from composer.geometry.surface import Surface
from masks.paint import Brush, Painter, Stroke, fill
from masks.soften import smoothstep
from tests.masks.surfaces import plane, slit_plane


def corner_of(surface: Surface, vertex: int) -> tuple[list[int], list[float]]:
    """A surface point on a vertex: a polygon about it, and its weight there."""
    face = int(surface.polygons.corner_face[np.flatnonzero(surface.polygons.indices == vertex)[0]])
    corners = surface.polygons.face(face).tolist()
    return corners, [1.0 if v == vertex else 0.0 for v in corners]


def test_a_dab_is_round_and_falls_off() -> None:
    flat = plane(41, 41)
    at = 20 * 41 + 20
    vertices, amount = Painter(flat).footprint(*corner_of(flat, at), Brush(10.0, 0.8))
    away = np.linalg.norm(flat.positions - flat.positions[at], axis=1)
    full = 0.8 * smoothstep(1 - away / 10.0)
    assert amount == pytest.approx(full[vertices], abs=1e-9)
    assert set(vertices) == set(np.flatnonzero(away < 10 - 1e-9))


def test_a_hard_brush_has_a_flat_top() -> None:
    brush = Brush(10.0, 1.0, 0.5)
    assert brush.weight(np.array([0.0, 5.0, 7.5, 10.0])) == pytest.approx([1, 1, 0.5, 0])


@pytest.mark.parametrize("along", [3, 15, 23, 24])
def test_the_other_lip_stays_at_zero(along: int) -> None:
    """From the middle of the lips to their corner, with a brush that would reach round the corner."""
    surface, upper, lower = slit_plane(12, 40, 25)
    barriers = Barriers(surface, [upper, lower], reach_mm=8.0)
    painter = Painter(surface, barriers)
    above = int(upper[along]) + 40
    stroke = Stroke(painter, np.zeros(surface.n_vertices), Brush(9.0))
    stroke.dab(*corner_of(surface, above))
    own = (surface.positions[:, 0] > 12) & (surface.positions[:, 1] < 24)
    other = (surface.positions[:, 0] < 12) & (surface.positions[:, 0] > 5) & (surface.positions[:, 1] < 24)
    assert stroke.values[own].max() > 0.9
    assert stroke.values[other].max() == 0.0
    assert stroke.values[lower[:-1]].max() == 0.0


def test_a_stroke_stays_on_its_side() -> None:
    surface, upper, lower = slit_plane(12, 40, 25)
    painter = Painter(surface, Barriers(surface, [upper, lower], reach_mm=8.0))
    stroke = Stroke(painter, np.zeros(surface.n_vertices), Brush(6.0))
    stroke.dab(*corner_of(surface, int(upper[10]) + 40))
    below = 10 * 40 + 10
    assert painter.side_at(*corner_of(surface, below)) not in (0, stroke.side)
    assert len(stroke.dab(*corner_of(surface, below))) == 0
    other = (surface.positions[:, 0] < 12) & (surface.positions[:, 0] > 5) & (surface.positions[:, 1] < 22)
    assert stroke.values[other].max() == 0.0


def test_a_dab_does_not_turn_round_a_fold() -> None:
    """A sheet folded back on itself: the far leaf faces the other way and takes nothing."""
    flat = plane(41, 15)
    x = flat.positions[:, 0]
    turn = np.clip((x - 20) / 1.5, 0, np.pi)
    height = 1.5 * (1 - np.cos(turn))
    across = np.where(x <= 20, x, np.where(turn < np.pi, 20 + 1.5 * np.sin(turn), 20 - (x - 20 - 1.5 * np.pi)))
    folded = flat.at(np.stack([across, flat.positions[:, 1], height], axis=1))
    at = 18 * 15 + 7
    vertices, _ = Painter(folded).footprint(*corner_of(folded, at), Brush(14.0))
    assert (x[vertices] <= 20 + 1.5 * np.pi / 2 + 1e-9).all()
    assert x[vertices].min() <= 6


def test_replay_and_order_give_the_same_mask() -> None:
    flat = plane(31, 31)
    painter = Painter(flat)
    rng = np.random.default_rng(2)
    start = rng.random(flat.n_vertices)
    places = [corner_of(flat, v) for v in (200, 210, 233, 250, 264)]
    masks = []
    for order in (places, places, places[::-1], places + places):
        stroke = Stroke(painter, start, Brush(6.0, 0.7))
        for corners, bary in order:
            stroke.dab(corners, bary)
        masks.append(stroke.values)
    for mask in masks[1:]:
        assert mask.tolist() == masks[0].tolist()
    assert (masks[0] >= start).all() and masks[0].max() <= 1.0


def test_erase_and_soften() -> None:
    flat = plane(31, 31)
    painter = Painter(flat)
    middle = corner_of(flat, 15 * 31 + 15)
    erase = Stroke(painter, np.ones(flat.n_vertices), Brush(5.0), "erase")
    erase.dab(*middle)
    assert erase.values[15 * 31 + 15] == 0.0 and erase.values[0] == 1.0
    step = (flat.positions[:, 0] > 15).astype(float)
    soften = Stroke(painter, step, Brush(9.0), "soften")
    changed = soften.dab(*middle)
    assert 0 < soften.values[15 * 31 + 15] < 1
    untouched = np.setdiff1d(np.arange(flat.n_vertices), changed)
    assert soften.values[untouched].tolist() == step[untouched].tolist()
    even = Stroke(painter, np.full(flat.n_vertices, 0.37), Brush(9.0), "soften")
    even.dab(*middle)
    assert even.values == pytest.approx(np.full(flat.n_vertices, 0.37))


def test_softening_passes_no_barrier() -> None:
    flat = plane(21, 21)
    wall = np.arange(10 * 21, 11 * 21)
    painter = Painter(flat, Barriers(flat, [wall]))
    values = np.where(flat.positions[:, 0] > 10, 1.0, 0.0)
    assert painter.smoothed(values)[flat.positions[:, 0] < 10].max() == 0.0


def test_a_pose_writes_the_same_sides() -> None:
    """Lips that have opened: the stroke is on the pose, the sides are those of the neutral."""
    surface, upper, lower = slit_plane(12, 40, 25)
    barriers = Barriers(surface, [upper, lower], reach_mm=8.0)
    lift = np.zeros_like(surface.positions)
    lift[:, 0] = np.where(surface.positions[:, 0] >= 12, 3.0, 0.0) * (surface.positions[:, 1] < 25)
    lift[lower[:-1], 0] = 0.0
    painter = Painter(surface.at(surface.positions + lift), barriers)
    assert painter.sides.tolist() == barriers.sides.tolist()
    stroke = Stroke(painter, np.zeros(surface.n_vertices), Brush(9.0))
    stroke.dab(*corner_of(surface, int(upper[15]) + 40))
    assert stroke.values[lower[:-1]].max() == 0.0


def test_edge_path_bridges_gaps() -> None:
    flat = plane(5, 5)
    assert edge_path(flat, [0, 4]).tolist() == [0, 1, 2, 3, 4]
    assert edge_path(flat, [0, 1, 2]).tolist() == [0, 1, 2]


def test_what_makes_no_sense_is_refused() -> None:
    flat = plane(4, 4)
    with pytest.raises(MoueError, match="radius"):
        Brush(0.0)
    with pytest.raises(MoueError, match="strength"):
        Brush(1.0, 1.5)
    with pytest.raises(MoueError, match="cannot blur"):
        Stroke(Painter(flat), np.zeros(16), Brush(1.0), "blur")  # type: ignore[arg-type]
    with pytest.raises(MoueError, match="15 values"):
        Stroke(Painter(flat), np.zeros(15), Brush(1.0))
    with pytest.raises(MoueError, match="sum to one"):
        Painter(flat).footprint([0, 1, 5], [0.5, 0.1, 0.1], Brush(1.0))
    assert fill(np.zeros(3), [True, False, True], 0.5).tolist() == [0.5, 0.0, 0.5]


def test_the_mean_of_neighbours_keeps_what_is_even_and_halves_a_lone_vertex() -> None:
    surface = plane(5, 5)
    painter = Painter(surface, Barriers(surface, [np.arange(5)]))
    np.testing.assert_allclose(painter.smoothed(np.full(25, 0.7), 3), 0.7, atol=1e-12)
    lone = np.where(np.arange(25) == 12, 1.0, 0.0)
    once = painter.smoothed(lone, 1)
    assert once[12] == pytest.approx(0.5) and once[[7, 11, 13, 17]] == pytest.approx(0.125)
    line = np.where(np.arange(25) == 2, 1.0, 0.0)
    assert painter.smoothed(line, 1)[2] == 1.0  # a vertex of a barrier keeps its value


@pytest.mark.parametrize("row", [7, 11])
def test_a_dab_on_either_side_of_a_line_takes_the_line_and_nothing_beyond(row: int) -> None:
    surface = plane(19, 19)
    painter = Painter(surface, Barriers(surface, [9 * 19 + np.arange(19)], reach_mm=15.0))
    vertices, _ = painter.footprint(*corner_of(surface, row * 19 + 9), Brush(5.0))
    x = surface.positions[vertices, 0]
    assert 9.0 in x and ((x <= 9.0) if row < 9 else (x >= 9.0)).all()
