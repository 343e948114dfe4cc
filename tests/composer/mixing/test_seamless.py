"""The seamless join against what is known in closed form, its bad inputs, and what it keeps."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_bvp

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head, Shape
from composer.mixing import seamless as constants
from composer.mixing import seamless_zone
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe, Row
from composer.mixing.seamless import SeamlessJoin, seamless_displacement
from composer.mixing.seamless_cache import SeamlessJoins
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import ramp_of
from tests.small_heads import grid
from tests.small_mixes import seamless_pose

WIDTH = 20.0


def smoothstep(t: NDArray) -> NDArray[np.float64]:
    t = np.clip(t, 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t))


def strip(rows: int = 161, columns: int = 4, reach: float = 40.0) -> tuple[Polygons, NDArray[np.float64]]:
    """A flat strip along x from -reach to reach, square quads."""
    x = np.linspace(-reach, reach, rows)
    y = (x[1] - x[0]) * np.arange(columns)
    places = np.stack([np.repeat(x, columns), np.tile(y, rows), np.zeros(rows * columns)], axis=1)
    return grid(rows, columns), places


def strip_head(delta: NDArray, rows: int = 161) -> tuple[Head, dict[str, NDArray[np.float64]]]:
    """The strip with one shape and the region `right`, whose ramp is WIDTH wide about x = 0."""
    polygons, places = strip(rows)
    shape = Shape("shift", np.broadcast_to(delta, places.shape).astype(np.float32))
    return Head("strip", polygons, places, (shape,)), {"right": smoothstep(places[:, 0] / WIDTH + 0.5)}


ONE = Recipe("one", (Cell("right", "shift", 1.0),), join="seamless")


@pytest.mark.parametrize("turn", [0.0, 0.7])
@pytest.mark.parametrize("width", [10.0, 20.0, 30.0])
def test_the_width_of_a_smoothstep_is_its_width(width: float, turn: float) -> None:
    polygons, places = strip(121, 81)
    across = places[:, 0] * np.cos(turn) + (places[:, 1] - 27.0) * np.sin(turn)
    ramp = ramp_of(SeamlessSurface(Surface(polygons, places)), smoothstep(across / width + 0.5))
    assert ramp.width_mm == pytest.approx(width, rel=0.02)


def profile(x: NDArray, halo: float) -> NDArray[np.float64]:
    """What the join's energy gives in one dimension for a shift by 1, by scipy's solver of boundary value problems.

    With no slope wanted anywhere, the least of u'^2 + BETA L^2 u''^2 + lambda (u - g)^2 obeys
    BETA L^2 u'''' = u'' - lambda (u - g), with u and u' given at both edges.
    """
    whole = WIDTH * (1.0 + 2.0 * halo)
    edge = 0.5 * whole

    def slope(x: NDArray, u: NDArray) -> NDArray:
        depth = (edge - np.abs(x)) / (seamless_zone.FLAT * whole)
        hold = np.clip(1.0 - depth, 0.0, 1.0)
        weight = (constants.FLOOR + constants.STIFF * hold**2 / (1.02 - hold) ** 2) / whole**2
        wanted = smoothstep(x / WIDTH + 0.5)
        return np.stack([u[1], u[2], u[3], (u[2] - weight * (u[0] - wanted)) / (constants.BETA * whole**2)])

    at = np.linspace(-edge, edge, 400)
    first = np.stack([smoothstep(at / whole + 0.5), *np.zeros((3, len(at)))])
    found = solve_bvp(
        slope, lambda a, b: np.array([a[0], a[1], b[0] - 1.0, b[1]]), at, first, tol=1e-6, max_nodes=20000
    )
    assert found.success
    return np.where(x < -edge, 0.0, np.where(x > edge, 1.0, found.sol(np.clip(x, -edge, edge))[0]))


@pytest.mark.parametrize(("halo", "within"), [(0.0, 0.01), (1.0 / 3.0, 0.0015)])
@pytest.mark.parametrize("delta", [[3.0, 0.0, 0.0], [0.0, 3.0, 0.0], [0.0, 0.0, 3.0]], ids=["stretch", "shear", "lift"])
def test_a_shift_follows_the_profile_that_the_energy_has_in_one_dimension(
    delta: list[float], halo: float, within: float
) -> None:
    head, masks = strip_head(np.array(delta), rows=321)
    moved = seamless_pose(Mixer(head, masks), ONE.with_(halo=halo)) - head.neutral
    wanted = profile(head.neutral[:, 0], halo)[:, None] * np.array(delta)
    np.testing.assert_allclose(moved, wanted, atol=within * 3.0)


def test_the_steepest_slope_of_a_shift_is_far_below_the_linear_joins() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]))
    mixer = Mixer(head, masks)
    step = np.diff(head.neutral[::4, 0])

    def steepest(pose: NDArray) -> float:
        return float((np.diff(pose[::4, 2]) / step).max())

    linear = steepest(mixer.pose(ONE))
    assert linear == pytest.approx(3.0 * 1.5 / WIDTH, rel=0.01)
    assert steepest(seamless_pose(mixer, ONE)) < 0.65 * linear


@pytest.mark.parametrize(
    "gradient",
    [np.diag([0.2, 0.0, 0.0]), np.eye(3)[[1, 0, 2]] * [[0.3], [0.0], [0.0]],
     np.array([[np.cos(0.3) - 1, -np.sin(0.3), 0], [np.sin(0.3), np.cos(0.3) - 1, 0], [0, 0, 0]])],
    ids=["stretch", "shear", "rotation"],
)  # fmt: skip
def test_two_regions_that_stretch_shear_or_turn_alike_do_so_on_their_ramp_too(gradient: NDArray) -> None:
    polygons, places = strip(81, 9)
    field = places @ gradient.T
    head = Head("strip", polygons, places, tuple(Shape(name, field) for name in ("one", "other")))  # type: ignore[arg-type]
    right = smoothstep(places[:, 0] / WIDTH + 0.5)
    recipe = Recipe("both", (Cell("left", "one", 1.0), Cell("right", "other", 1.0)))
    pose = seamless_pose(Mixer(head, {"left": 1.0 - right, "right": right}), recipe)
    np.testing.assert_allclose(pose, places + field, atol=1e-9)


def test_no_halo_moves_nothing_outside_the_ramp_and_a_halo_moves_nothing_beyond_itself() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]))
    mixer = Mixer(head, masks)
    x = np.abs(head.neutral[:, 0])
    edge = head.neutral[4, 0] - head.neutral[0, 0]
    for halo in (0.0, 0.2, 1.0 / 3.0, 1.0):
        moved = np.abs(seamless_pose(mixer, ONE.with_(halo=halo)) - mixer.pose(ONE)).max(axis=1)
        beyond = x >= WIDTH / 2 if halo == 0.0 else x > WIDTH * (0.5 + halo) + edge
        assert moved[beyond].max(initial=0.0) == 0.0
        assert moved.max() > 0.01


def test_a_sliver_and_an_inverted_face_are_counted_and_stay_with_the_linear_join() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]), rows=81)
    quads = head.polygons.indices.reshape(-1, 4).copy()
    quads[120] = quads[120][::-1]
    turned = head.with_(polygons=Polygons(head.polygons.counts, quads.ravel(), head.n_vertices))
    skin = SeamlessSurface(turned.surface)
    assert (skin.n_inverted, skin.n_slivers) == (1, 0)
    assert set(np.flatnonzero(skin.held)) == set(quads[120].tolist())
    mixer = Mixer(turned, masks)
    pose, linear = seamless_pose(mixer, ONE), mixer.pose(ONE)
    assert pose[skin.held].tobytes() == linear[skin.held].tobytes()
    assert np.abs(pose - linear).max() > 0.1

    crossed = quads.copy()
    crossed[120] = quads[120][[0, 2, 1, 3]]
    crosswise = Polygons(head.polygons.counts, crossed.ravel(), head.n_vertices)
    skin = SeamlessSurface(head.with_(polygons=crosswise).surface)
    assert skin.n_inverted == 1

    flat = head.neutral.copy()
    flat[quads[120][2:]] = flat[quads[120][:2]][::-1]
    skin = SeamlessSurface(head.with_(neutral=flat).surface)
    assert skin.n_slivers == 1 and skin.held[quads[120]].all()


def test_a_wholly_inverted_head_is_as_good_as_the_head() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]), rows=81)
    inside_out = Polygons(head.polygons.counts, head.polygons.indices.reshape(-1, 4)[:, ::-1].ravel(), head.n_vertices)
    other = head.with_(polygons=inside_out)
    assert SeamlessSurface(other.surface).n_inverted == 0
    np.testing.assert_allclose(
        seamless_pose(Mixer(other, masks), ONE), seamless_pose(Mixer(head, masks), ONE), atol=1e-9
    )


def test_several_shells_are_joined_each_by_itself() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]), rows=81)
    n = head.n_vertices
    twice = np.concatenate([head.polygons.indices, head.polygons.indices + n])
    places = np.concatenate([head.neutral, head.neutral + [0.0, 50.0, 0.0]])
    shape = Shape("shift", np.tile(head.shapes[0].delta, (2, 1)))
    both = Head("two", Polygons(np.tile(head.polygons.counts, 2), twice, 2 * n), places, (shape,))
    one = seamless_pose(Mixer(head, masks), ONE)
    two = seamless_pose(Mixer(both, {"right": np.tile(masks["right"], 2)}), ONE)
    np.testing.assert_allclose(two[:n], one, atol=1e-9)
    np.testing.assert_allclose(two[n:] - [0.0, 50.0, 0.0], one, atol=1e-9)


def test_a_shell_that_is_all_ramp_is_left_to_the_linear_join() -> None:
    polygons, places = strip(41, 4, reach=8.0)
    head = Head("strip", polygons, places, (Shape("shift", np.ones(places.shape, np.float32)),))
    mixer = Mixer(head, {"right": smoothstep(places[:, 0] / WIDTH + 0.5)})
    join = SeamlessJoin(SeamlessSurface(head.surface), mixer.masks)
    assert join.zone.loose == head.n_vertices
    assert seamless_pose(mixer, ONE).tobytes() == mixer.pose(ONE).tobytes()


def test_a_region_with_a_hard_edge_is_softened_by_a_halo_and_left_alone_without() -> None:
    head, _ = strip_head(np.array([0.0, 0.0, 3.0]), rows=81)
    mixer = Mixer(head, {"right": (head.neutral[:, 0] > 0.1).astype(np.float64)})
    linear = mixer.pose(ONE)
    assert seamless_pose(mixer, ONE.with_(halo=0.0)).tobytes() == linear.tobytes()
    steep = [np.diff(pose[::4, 2]).max() for pose in (linear, seamless_pose(mixer, ONE.with_(halo=1.0)))]
    assert steep[0] == 3.0 and steep[1] < 2.0


@pytest.mark.parametrize("value", [0.0, 0.5, 1.0])
def test_a_region_without_a_ramp_is_joined_linearly(value: float) -> None:
    head, _ = strip_head(np.array([0.0, 0.0, 3.0]), rows=41)
    mixer = Mixer(head, {"right": np.full(head.n_vertices, value)})
    assert seamless_pose(mixer, ONE).tobytes() == mixer.pose(ONE).tobytes()


def test_what_cannot_be_used_is_one_line() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]), rows=41)
    skin = SeamlessSurface(head.surface)
    with pytest.raises(MoueError, match=r"a halo of 1.5 is not in \[0, 1\]"):
        SeamlessJoin(skin, masks, halo=1.5)
    with pytest.raises(MoueError, match="region 'right' has 3 values"):
        SeamlessJoin(skin, {"right": np.ones(3)})
    with pytest.raises(MoueError, match=r"halo nan is not in \[0, 1\]"):
        Recipe("r", halo=float("nan"))
    broken = head.shapes[0].delta.copy()
    broken[80] = np.nan
    mixer = Mixer(head.with_(shapes=(Shape("shift", broken),)), masks)
    with pytest.raises(MoueError, match="row 'right' has positions that are not finite"):
        seamless_pose(mixer, ONE)


def test_a_join_is_made_once_for_its_masks_and_kept_when_weights_change() -> None:
    head, masks = strip_head(np.array([0.0, 0.0, 3.0]), rows=81)
    joins = SeamlessJoins(head)
    join = joins.of(masks, 1.0 / 3.0)
    assert joins.of(dict(masks), 1.0 / 3.0) is join
    assert joins.of(masks, 0.1) is not join
    painted = {"right": np.minimum(masks["right"], 0.5)}
    assert joins.of(painted, 1.0 / 3.0) is not join
    assert joins.serves(head.with_(shapes=())) and not joins.serves(head.with_(neutral=head.neutral + 1.0))
    mixer = Mixer(head, masks)
    for weight, amount in ((0.3, 1.0), (1.5, 1.0), (0.7, 0.4)):
        recipe = Recipe("w", (Cell("right", "shift", weight),), {"right": Row("add", amount)})
        kept = head.neutral + seamless_displacement(mixer, join, recipe)
        np.testing.assert_allclose(kept, seamless_pose(mixer, recipe), atol=1e-9)
