"""Terms of a pull: how points move by a weight, bounds on either side of where it begins, and how near it arrives."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.surface import Surface
from composer.head.head import Head, Shape
from composer.head.places import SurfacePoint
from composer.mixing.columns import column
from composer.mixing.displacement import Motion
from composer.mixing.hinge import Hinge, turn
from composer.mixing.linear import Mixer
from composer.mixing.match import Bounds
from composer.mixing.match_drag import Drag, OnFace
from composer.mixing.recipe import ALL, Cell, Recipe, Row
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import ramp_of, zone_of
from tests.small_heads import grid

Z = np.array([0.0, 0.0, 1.0])
SQUARE = np.array([[1.0, 0, 0], [0, 0, 0], [1, 1, 0], [0, 1, 0]])
KEY = (ALL, "move", False)


def straight(delta: tuple[float, float, float] = (10.0, 0.0, 0.0), place: OnFace = 0) -> Drag:
    head = Head("square", grid(2, 2), SQUARE, (Shape("move", np.tile(np.float32(delta), (4, 1))),))
    return Drag(Mixer(head, {"left": np.array([1.0, 0.5, 0.0, 0.0])}), [ALL, "left"], ["move"], [place])


def pulled(begin: float, to: float, bounds: Bounds, **words: object) -> float:
    recipe = Recipe("r", (Cell(ALL, "move", begin),), **words)  # type: ignore[arg-type]
    drag = straight()
    target = SQUARE[:1] + recipe.strength * recipe.row(ALL).amount * np.array([[10.0 * to, 0.0, 0.0]])
    return drag.weights(recipe, target, locked=[("left", "move", False)], bounds=bounds)[KEY]


@pytest.mark.parametrize(
    ("begin", "to", "found"),
    [(0.6, 0.0, 0.0), (0.6, 0.2, 0.2), (0.6, 0.9, 0.9), (0.6, 1.4, 1.0), (0.6, -0.3, 0.0), (0.0, 0.5, 0.5),
     (1.3, 0.5, 0.5), (1.3, 1.5, 1.3), (-0.4, 0.5, 0.5), (-0.4, -0.8, -0.4)],
)  # fmt: skip
def test_a_pull_stays_in_its_bounds_or_where_it_was(begin: float, to: float, found: float) -> None:
    assert pulled(begin, to, Bounds(0.0, 1.0)) == pytest.approx(found, abs=1e-3)


@pytest.mark.parametrize(("strength", "amount"), [(0.5, 1.0), (0.1, 1.0), (1.0, 0.25), (1.5, 0.5)])
def test_strength_and_amount_take_more_weight_for_the_same_way(strength: float, amount: float) -> None:
    rows = {ALL: Row(amount=amount)}
    assert pulled(0.1, 0.7, Bounds(-1.0, 2.0), strength=strength, rows=rows) == pytest.approx(0.7, abs=1e-3)


def test_a_place_on_a_triangle_moves_by_the_mean_of_its_corners() -> None:
    drag = straight(place=SurfacePoint((0, 1, 3), (0.5, 0.25, 0.25)))
    recipe = Recipe("r", (Cell("left", "move", 0.2),))
    share = drag._shares(recipe)
    keys = [("left", "move", False)]
    rows = drag._rows(keys, np.array([0.2]), {keys[0]: 0.2}, share, recipe)
    np.testing.assert_allclose(rows[:, 0], [10.0 * (0.5 * 1.0 + 0.25 * 0.5), 0.0, 0.0], atol=1e-6)
    points = drag._points({keys[0]: 0.2}, share, recipe)
    np.testing.assert_allclose(points, [[0.5 + 2.0 * 0.625, 0.25, 0.0]], atol=1e-6)


def swing(size: float, degrees: float = 90.0) -> Drag:
    places = size * SQUARE
    angle = np.radians(degrees)
    delta = (turn(places, Z, np.zeros(3), angle) - places).astype(np.float32)
    head = Head("arc", grid(2, 2), places, (Shape("move", delta),))
    hinge = Hinge(Z, np.zeros(3), angle, np.ones(4, dtype=np.float32))
    return Drag(Mixer(head, {}, hinges={"move": hinge}), [ALL], ["move"], [0])


@pytest.mark.parametrize("weight", [0.0, 0.5])
def test_along_an_arc_a_point_moves_by_the_angle_times_its_arm(weight: float) -> None:
    drag, angle = swing(50.0), np.pi / 2
    recipe = Recipe("r", (Cell(ALL, "move", weight),))
    rows = drag._rows([KEY], np.array([weight]), {KEY: weight}, drag._shares(recipe), recipe)
    tangent = 50.0 * angle * np.array([-np.sin(weight * angle), np.cos(weight * angle), 0.0])
    np.testing.assert_allclose(rows[:, 0], tangent, atol=1e-3)


@pytest.mark.parametrize("wanted", [0.35, 0.9])
@pytest.mark.parametrize("size", [0.3, 50.0])
def test_a_pull_along_an_arc_arrives_at_every_size(size: float, wanted: float) -> None:
    target = turn(size * SQUARE[:1], Z, np.zeros(3), wanted * np.radians(150.0))
    found = swing(size, 150.0).weights(Recipe("r", (Cell(ALL, "move", 0.3),)), target)[KEY]
    assert found == pytest.approx(wanted, abs=2e-3)


def move(*fields: np.ndarray) -> Motion:
    return Motion(tuple(fields), lambda weight: tuple(weight for _ in fields))


@pytest.mark.parametrize("reached", [[2], [0, 19], [3, 4, 5, 7], list(range(20))])
def test_a_column_adds_a_motion_under_its_share_whether_it_holds_a_range_or_places(reached: list[int]) -> None:
    field = np.zeros((20, 3), dtype=np.float32)
    field[reached] = np.random.default_rng(1).normal(size=(len(reached), 3))
    share = np.where(np.arange(20) == 4, 0.0, 0.5)
    one = column(move(field), share)
    at = [v for v in reached if v != 4]
    assert one.range == (at[0], at[-1] + 1)
    total = np.zeros(60)
    total[one.where] = one.fields[0]
    np.testing.assert_allclose(total.reshape(20, 3), share[:, None] * field, rtol=1e-6)
    assert isinstance(one.where, slice) == (len(at) > 2 or at == [2])
    nothing = column(move(field), np.zeros(20))
    assert nothing.range == (0, 0) and nothing.fields.size == 0


def test_the_ramp_of_a_mask_that_rises_evenly() -> None:
    # It rises by 1/10 a mm over 10 mm: the slope is 0.1, the width 1.2 / 0.1, and the zone reaches a third of that on.
    y, x = np.meshgrid(np.arange(6.0), np.arange(31.0), indexing="ij")
    surface = Surface(grid(6, 31), np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1))
    skin, along = SeamlessSurface(surface), surface.positions[:, 0]
    ramp = ramp_of(skin, np.clip((along - 10.0) / 10.0, 0.0, 1.0))
    assert ramp.width_mm == pytest.approx(12.0, rel=1e-9)
    assert (ramp.on == ((along > 10) & (along < 20))).all()
    assert (ramp.touches == ((along >= 10) & (along <= 20))).all()
    np.testing.assert_allclose(ramp.slope[ramp.on], 0.1, rtol=1e-9)
    zone = zone_of(skin, [ramp], 1 / 3)
    assert set(along[zone.free]) == set(np.arange(6.0, 25.0))  # 4 mm beyond the first vertices at rest
    assert set(along[zone_of(skin, [ramp], 0.0).free]) == set(np.arange(11.0, 20.0))
    flat = ramp_of(skin, np.full(186, 0.5))
    assert flat.width_mm == 0.0 and not flat.on.any() and not len(zone_of(skin, [flat], 1 / 3).free)


def test_vertices_that_may_not_move_are_on_no_ramp() -> None:
    y, x = np.meshgrid(np.arange(6.0), np.arange(31.0), indexing="ij")
    surface = Surface(grid(6, 31), np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1))
    along = surface.positions[:, 0]
    skin = SeamlessSurface(surface, along != 15.0)
    ramp = ramp_of(skin, np.clip((along - 10.0) / 10.0, 0.0, 1.0))
    assert (ramp.touches == ((along >= 10) & (along <= 20) & (along != 15))).all()
    assert set(along[zone_of(skin, [ramp], 0.0).free]) == {11.0, 12, 13, 14, 16, 17, 18, 19}
