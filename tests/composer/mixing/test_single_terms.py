"""Terms of the mixing formulas that hide in large tests: each has a small case that can be worked out on paper."""

from __future__ import annotations

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.errors import MoueError
from composer.geometry.surface import Surface
from composer.head.head import Head, Shape
from composer.mixing.anchors import Anchors
from composer.mixing.corrective import _listed
from composer.mixing.hinge import Hinge, hinge_displacement, turn
from composer.mixing.linear import Mixer
from composer.mixing.match_block import MatchBlock
from composer.mixing.recipe import ALL, Cell, Recipe, Row
from composer.mixing.seamless import SeamlessJoin
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.shares import shares
from tests.composer.document.small_document import N, small_head, small_project
from tests.composer.mixing.test_seamless import WIDTH, smoothstep, strip
from tests.small_heads import grid

Z = np.array([0.0, 0.0, 1.0])


@pytest.mark.parametrize("weight", [-0.5, 0.25, 0.5, 1.5])
def test_what_a_hinge_does_not_explain_goes_in_a_straight_line(weight: float) -> None:
    places = np.array([[10.0, 0.0, 0.0], [0.0, 20.0, 0.0]])
    residual = np.array([[0.5, -0.25, 2.0], [3.0, 1.0, -1.0]])
    hinge = Hinge(Z, np.zeros(3), 0.8, np.array([1.0, 0.0], dtype=np.float32))
    turned = turn(places, Z, np.zeros(3), 0.8) - places
    delta = np.array([1.0, 0.0])[:, None] * turned + residual
    partly = np.array([1.0, 0.0])[:, None] * (turn(places, Z, np.zeros(3), 0.8 * weight) - places)
    expected = partly + weight * residual
    np.testing.assert_allclose(hinge_displacement(places, delta, hinge, weight), expected, atol=1e-12)


def test_the_amount_of_the_base_row_scales_what_it_keeps_beside_a_row_that_replaces() -> None:
    masks = {"mouth": np.array([0.0, 0.5, 1.0])}
    cells = (Cell(ALL, "joy", 1.0), Cell("mouth", "joy", 1.0))
    recipe = Recipe("r", cells, rows={ALL: Row(amount=0.4), "mouth": Row("replace", 0.5)})
    found = shares(masks, recipe, 3)
    np.testing.assert_allclose(found["mouth"], [0.0, 0.25, 0.5], atol=1e-15)
    np.testing.assert_allclose(found[ALL], [0.4, 0.4 * 0.75, 0.4 * 0.5], atol=1e-15)


def test_a_shape_that_moves_only_beside_the_ramp_is_let_in_by_the_widened_share() -> None:
    polygons, places = strip()
    join = SeamlessJoin(SeamlessSurface(Surface(polygons, places)), {"right": smoothstep(places[:, 0] / WIDTH + 0.5)})
    share = smoothstep(places[:, 0] / WIDTH + 0.5)
    halo = (places[:, 0] > -15.0) & (places[:, 0] < -12.0)  # the ramp ends at -10, the halo at -16.7
    assert not share[halo].any() and np.isin(np.flatnonzero(halo), join.zone.free).all()
    row = np.where(halo[:, None], np.abs(places[:, :1]) * Z, 0.0)
    further = join.solve({"right": share[join.near]}, {"right": row[join.near]})
    beside = halo[join.zone.free]
    assert np.abs(further[beside]).max() > 1e-3  # with the share itself, which is 0 there, nothing would move


def test_a_shape_whose_hinge_changes_moves_by_the_new_one() -> None:
    def turning(angle_deg: float) -> EvaluatedDocument:
        place = "masks/hinge_drop.npy"
        said = {"axis": [1.0, 0.0, 0.0], "origin": [0.0, 40.0, -60.0], "angle_deg": angle_deg, "rigidity": place}
        project = small_project()
        project = project.with_(shapes={"drop": {"hinge": said}}, stored={**project.stored, place: rigidity})
        return EvaluatedDocument(project, small_head()) if angle_deg == 20.0 else before.again(project)

    recipe = Recipe("half", (Cell(ALL, "drop", 0.5),))
    rigidity = np.ones(N, dtype=np.float32)
    before = turning(20.0)
    before.pose(recipe)  # so that motions are there to be kept
    after = turning(-15.0)
    fresh = EvaluatedDocument(after.project, small_head())
    assert np.abs(after.pose(recipe) - before.pose(recipe)).max() > 0.1
    np.testing.assert_array_equal(after.pose(recipe), fresh.pose(recipe))


def test_where_a_row_replaces_wholly_nothing_of_the_base_row_is_left() -> None:
    masks = {"mouth": np.array([0.0, 1.0, 1.0]), "jaw": np.array([0.0, 0.0, 1.0])}
    cells = tuple(Cell(region, "joy", 1.0) for region in (ALL, "mouth", "jaw"))
    recipe = Recipe("r", cells, rows={"mouth": Row("replace"), "jaw": Row("replace")})
    found = shares(masks, recipe, 3)
    np.testing.assert_array_equal(found[ALL], [1.0, 0.0, 0.0])
    np.testing.assert_array_equal(found["mouth"], [0.0, 1.0, 0.5])  # two that replace share what there is


@pytest.mark.parametrize("weight", [0.1, -0.3, 1.0])
def test_a_row_is_its_weight_times_the_shape(weight: float) -> None:
    places = np.zeros((4, 3))
    delta = np.float32([[1, 2, 3]] * 4)
    rows = Mixer(Head("flat", grid(2, 2), places, (Shape("move", delta),)), {}).rows(
        Recipe("r", (Cell(ALL, "move", weight),))
    )
    np.testing.assert_allclose(rows[ALL], weight * delta, rtol=1e-6)


def test_a_cell_that_is_there_twice_is_named() -> None:
    cells = (Cell(ALL, "joy", 1.0), Cell("brow", "up", 1.0), Cell("brow", "up", 0.5), Cell("brow", "down", 0.5))
    with pytest.raises(MoueError, match="the cell brow x up twice"):
        Recipe("r", cells)


def test_of_many_names_four_are_shown() -> None:
    assert _listed(["a", "b", "c", "d"]) == "'a', 'b', 'c', 'd'"
    assert _listed(["a", "b", "c", "d", "e", "f"]) == "'a', 'b', 'c', 'd' and 2 more"


def test_a_mask_lifted_to_a_part_is_its_anchors_mean_and_nothing_where_that_is_nothing() -> None:
    corners, bary = np.int32([[0, 1, 2], [0, 0, 1]]), np.array([[0.5, 0.25, 0.25], [1.0, 0.0, 0.0]])
    no = np.zeros(2, dtype=bool)
    lift = Anchors(np.int32([3, 4]), corners, bary, no, no)
    np.testing.assert_allclose(lift.lift(np.array([0.0, 1.0, 0.2, 0.9, 0.9])), [0.0, 1.0, 0.2, 0.3, 0.0])


def test_fields_are_taken_at_some_vertices() -> None:
    deltas = np.arange(24.0).reshape(2, 4, 3)
    for held in (True, False):
        block = MatchBlock(np.arange(4), np.ones(4), list(deltas), held)
        assert block._at(np.array([3, 1])).tolist() == [[9, 10, 11, 3, 4, 5], [21, 22, 23, 15, 16, 17]]


def test_a_share_is_widened_over_the_zone_and_itself_outside() -> None:
    polygons, places = strip()
    share = smoothstep(places[:, 0] / WIDTH + 0.5)
    join = SeamlessJoin(SeamlessSurface(Surface(polygons, places)), {"right": share})
    wide, inside = join.widened(share), np.isin(np.arange(len(share)), join.zone.free)
    np.testing.assert_array_equal(wide[~inside], share[~inside])
    assert (wide[inside & (share == 0.0)] > 0.0).any() and wide.min() >= 0.0 and wide.max() <= 1.0
