"""The figures of a join against closed forms: stretch, shear, rotation, mismatch over width, edges and turned faces."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import polar

from composer.checks.join_report import Envelope, compare_joins, edge_jump, weighted_quantile
from composer.errors import MoueError
from composer.head.head import Head, Shape
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe
from composer.mixing.seamless import SeamlessJoin
from composer.mixing.seamless_surface import SeamlessSurface
from tests.small_heads import grid, random_rotation

WIDTH = 20.0
ONE = Recipe("one", (Cell("right", "shift", 1.0),), join="seamless")


def sheet(delta: NDArray, rows: int = 81) -> tuple[Mixer, SeamlessJoin]:
    x = np.linspace(-40, 40, rows)
    columns = 7
    places = np.stack([np.repeat(x, columns), np.tile((x[1] - x[0]) * np.arange(columns), rows)], axis=1)
    places = np.column_stack([places, np.zeros(len(places))])
    shape = Shape("shift", np.broadcast_to(delta, places.shape).astype(np.float32))
    head = Head("sheet", grid(rows, columns), places, (shape,))
    t = np.clip(places[:, 0] / WIDTH + 0.5, 0.0, 1.0)
    masks = {"right": t * t * (3.0 - 2.0 * t)}
    return Mixer(head, masks), SeamlessJoin(SeamlessSurface(head.surface), masks)


@pytest.mark.parametrize(("delta", "bound"), [
    ([6.0, 0.0, 0.0], 6.0 / (WIDTH * 5 / 3)),
    ([-6.0, 0.0, 0.0], 1.0 / (1.0 - 6.0 / (WIDTH * 5 / 3)) - 1.0),
    ([0.0, 6.0, 0.0], np.hypot(1.0, 6.0 / (WIDTH * 5 / 3)) - 1.0),
    ([0.0, 0.0, 6.0], np.hypot(1.0, 6.0 / (WIDTH * 5 / 3)) - 1.0),
], ids=["pulled", "pushed", "sheared", "lifted"])  # fmt: skip
def test_mismatch_over_width_and_its_bound(delta: list[float], bound: float) -> None:
    mixer, join = sheet(np.array(delta))
    report = compare_joins(mixer, join, ONE)
    assert report.ramp is not None
    assert report.ramp.mismatch_mm == pytest.approx(6.0, rel=0.01)
    assert report.ramp.width_mm == pytest.approx(WIDTH, rel=0.02)
    assert report.ramp.needed_mm == pytest.approx(6.0 / 0.3, rel=0.01)
    assert report.ramp.bound == pytest.approx(100.0 * bound, rel=0.03)
    assert not report.ramp.steep or report.ramp.ratio > 0.3
    assert report.linear.most > report.widened.most > report.seamless.most >= report.ramp.bound


def test_the_linear_join_of_a_pull_is_strained_by_the_smoothsteps_slope() -> None:
    mixer, join = sheet(np.array([6.0, 0.0, 0.0]), rows=161)
    report = compare_joins(mixer, join, ONE)
    assert report.linear.most == pytest.approx(100.0 * 1.5 * 6.0 / WIDTH, rel=0.01)
    assert report.seamless.p95 < 0.8 * report.linear.p95
    assert report.linear.flips == report.seamless.flips == 0
    assert report.edge_jump_deg < 1.0 and 0.0 < report.outside_mm < 1.0 < report.inside_mm + 1.0
    assert 80.0 < report.kept <= 100.0


def test_the_figures_do_not_change_when_the_head_is_turned() -> None:
    rng = np.random.default_rng(3)
    mixer, _ = sheet(np.array([3.0, -2.0, 4.0]))
    turn = random_rotation(rng)
    head = mixer.head
    shape = Shape("shift", (head.shapes[0].delta @ turn.T).astype(np.float32))
    other = Mixer(head.with_(neutral=head.neutral @ turn.T + [5.0, 6.0, 7.0], shapes=(shape,)), mixer.masks)
    joins = [SeamlessJoin(SeamlessSurface(each.head.surface), each.masks) for each in (mixer, other)]
    one, two = compare_joins(mixer, joins[0], ONE), compare_joins(other, joins[1], ONE)
    assert one.linear.p95 == pytest.approx(two.linear.p95, rel=1e-4)
    assert one.seamless.most == pytest.approx(two.seamless.most, rel=1e-4)
    assert one.edge_jump_deg == pytest.approx(two.edge_jump_deg, abs=1e-3)


def test_excess_is_nothing_for_rotation_and_what_is_beyond_the_sources_for_stretch_and_shear() -> None:
    mixer, _ = sheet(np.zeros(3))
    rest, triangles = mixer.head.neutral, mixer.head.surface.fans[0]
    turn = random_rotation(np.random.default_rng(1))
    plain, used = Envelope(rest, [], triangles), Envelope(rest, [rest * [0.2, 0.0, 0.0]], triangles)
    assert plain.strain(rest @ turn.T).most == pytest.approx(0.0, abs=1e-5)
    assert plain.strain(rest * [1.5, 1.0, 1.0]).p95 == pytest.approx(50.0)
    assert used.strain(rest * [1.5, 1.0, 1.0]).p95 == pytest.approx(100.0 * (1.5 / 1.2 - 1.0))
    assert used.strain(rest * [1.1, 1.0, 1.0]).most == pytest.approx(0.0, abs=1e-5)
    assert plain.strain(rest * [0.5, 1.0, 1.0]).p95 == pytest.approx(100.0)
    shear = np.array([[1.0, 0.4, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    stretches = np.linalg.eigvalsh(polar(shear)[1])
    wanted = 100.0 * max(stretches.max() - 1.0, 1.0 / stretches.min() - 1.0)
    assert plain.strain(rest @ (turn @ shear).T).p95 == pytest.approx(wanted)


def test_a_face_turned_over_counts_once_and_not_where_a_source_turns_it_too() -> None:
    mixer, _ = sheet(np.zeros(3))
    rest = mixer.head.neutral
    triangles = mixer.head.polygons.triangles[100:101]
    turned = rest.copy()
    turned[triangles[0, 1]] += 2.0 * (rest[triangles[0, [0, 2]]].mean(axis=0) - rest[triangles[0, 1]])
    assert Envelope(rest, [], triangles).strain(turned).flips == 1
    assert Envelope(rest, [turned - rest], triangles).strain(turned).flips == 0
    assert Envelope(rest, [], triangles).strain(rest).flips == 0


def test_an_edge_bent_by_a_known_angle() -> None:
    mixer, join = sheet(np.zeros(3))
    rest = mixer.head.neutral
    bent = rest.copy()
    x = rest[:, 0]
    # the rim runs between the last faces with a free corner and the next: one edge length beyond the last free vertex
    rim = np.unique(x)[np.searchsorted(np.unique(x), x[join.zone.free].max()) + 1]
    bent[:, 2] = np.tan(np.radians(20.0)) * np.maximum(x - rim, 0.0)
    assert edge_jump(join, rest, bent) == pytest.approx(20.0, abs=1e-6)
    assert edge_jump(join, bent, bent) == 0.0


def test_a_quantile_by_weight() -> None:
    values, weights = np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 8.0])
    assert weighted_quantile(values, weights, 0.5) == 2.0
    assert weighted_quantile(values, weights, 0.95) == 3.0
    assert weighted_quantile(np.zeros(0), np.zeros(0), 0.95) == 0.0


def test_a_shape_that_is_not_a_number_is_one_line() -> None:
    mixer, join = sheet(np.ones(3))
    delta = mixer.head.shapes[0].delta.copy()
    delta[0] = np.nan
    broken = Mixer(mixer.head.with_(shapes=(Shape("shift", delta),)), mixer.masks)
    with pytest.raises(MoueError, match="recipe 'one': a shape of the row 'right' has places that are not numbers"):
        compare_joins(broken, join, ONE)


def test_a_head_that_is_all_ramp_says_so() -> None:
    mixer, _ = sheet(np.ones(3))
    wide = Mixer(mixer.head, {"right": (mixer.head.neutral[:, 0] + 50.0) / 100.0})
    report = compare_joins(wide, SeamlessJoin(SeamlessSurface(mixer.head.surface), wide.masks), ONE)
    assert list(report.words())[1:] == [
        f"  {mixer.head.n_vertices} vertices are as in the linear join: all of their piece of the surface is ramp"
    ]


def test_a_recipe_without_a_ramp_says_so() -> None:
    mixer, _ = sheet(np.ones(3))
    flat = Mixer(mixer.head, {"right": np.ones(mixer.head.n_vertices)})
    report = compare_joins(flat, SeamlessJoin(SeamlessSurface(mixer.head.surface), flat.masks), ONE)
    assert report.ramp is None and report.kept == 100.0
    assert list(report.words()) == ["one: every join gives the same", "  no ramp on right"]
    assert report.as_dict()["ramp"] is None
