"""The laws of a matched performance: what was planted comes back, whatever the head does meanwhile."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.head.head import InBetween
from composer.mixing.hinge import Hinge
from composer.mixing.match import Bounds
from tests.composer.edits.taken_head import bowl, matched, taken, weights_of, with_sides

CELLS = [("left", "push_1", False), ("right", "push_4", False), ("left", "push_7", False)]


@pytest.mark.parametrize("cells", [CELLS, [("all", "push_2", False), ("all", "push_5", False)]])
def test_planted_weights_and_head_motions_come_back(cells: list) -> None:
    """Without noise: to the digits that files hold."""
    evaluated = with_sides(bowl())
    take = taken(evaluated, cells, 24, noise_mm=0.0)
    found = matched(evaluated, take)
    assert set(found.cells) == set(cells)
    np.testing.assert_allclose(weights_of(found, cells), take.weights, atol=2e-4)
    for motion, turn, shift in zip(found.motions, take.turns, take.shifts, strict=True):
        np.testing.assert_allclose(motion.rotation, Rotation.from_rotvec(turn).as_matrix(), atol=1e-5)
        np.testing.assert_allclose(motion.shift, shift, atol=1e-3)
    assert found.left.most.max() < 0.01 and found.head_moves


def test_of_noisy_frames_the_planted_cells_come_back_and_no_other() -> None:
    """0.2 mm of noise: weights within 0.03 (95th percentile), nothing else above 0.05."""
    evaluated = with_sides(bowl())
    masks, head = evaluated.mixer.masks, evaluated.head
    moved = {
        (side, shape.name, False): float(masks[side] @ np.linalg.norm(shape.delta, axis=1))
        for side in ("left", "right") for shape in head.shapes
    }  # fmt: skip
    moving = sorted(moved, key=lambda key: -moved[key])[:8]
    take = taken(evaluated, moving, 80)
    found = matched(evaluated, take)
    off = np.abs(weights_of(found, moving) - take.weights)
    assert np.percentile(off, 95) <= 0.03
    others = [column for column, key in enumerate(found.cells) if key not in moving]
    assert found.weights[:, others].max(initial=0.0) <= 0.05
    assert found.noise_mm == pytest.approx(0.2, rel=0.05)


def test_a_motion_of_the_whole_frame_changes_only_the_track() -> None:
    evaluated = with_sides(bowl())
    take = taken(evaluated, CELLS, 24)
    rng = np.random.default_rng(5)
    more, by = Rotation.random(24, random_state=np.random.RandomState(5)), 50.0 * rng.normal(size=(24, 3))
    turned = replace(
        take, turns=(more * Rotation.from_rotvec(take.turns)).as_rotvec(), shifts=more.apply(take.shifts) + by
    )  # fmt: skip
    one, other = matched(evaluated, take), matched(evaluated, turned)
    assert one.cells == other.cells
    np.testing.assert_allclose(one.weights, other.weights, atol=1e-4)
    for a, b, turn, shift in zip(one.motions, other.motions, more.as_matrix(), by, strict=True):
        np.testing.assert_allclose(b.rotation, turn @ a.rotation, atol=1e-5)
        np.testing.assert_allclose(b.shift, turn @ a.shift + shift, atol=2e-3)


def test_the_order_of_shapes_does_not_matter() -> None:
    head = bowl()
    turned = head.with_(shapes=head.shapes[::-1])
    take = taken(with_sides(head), CELLS, 24)
    one, other = matched(with_sides(head), take), matched(with_sides(turned), take)
    assert set(one.cells) == set(other.cells)
    np.testing.assert_allclose(one.weights, weights_of(other, one.cells), atol=1e-5)


def test_frames_at_rest_give_no_cell_and_no_motion() -> None:
    evaluated = with_sides(bowl())
    take = taken(evaluated, CELLS, 8, noise_mm=0.0, turn_deg=0.0, shift_mm=0.0)
    found = matched(evaluated, replace(take, weights=0.0 * take.weights))
    assert found.cells == () and not found.head_moves
    assert found.left.most.max() == 0.0 and found.left.explained == 1.0


def test_bounds_hold_and_sparse_0_uses_what_helps() -> None:
    evaluated = with_sides(bowl(6))
    take = taken(evaluated, [("all", "push_1", False)], 12)
    found = matched(evaluated, take, ["left", "right"], Bounds(-0.2, 0.4))
    assert len(found.cells) > 2
    assert found.weights.min() >= -0.2 and found.weights.max() <= 0.4


def test_a_shape_that_is_a_motion_of_the_head_gets_no_weight() -> None:
    head = bowl(4)
    nod = Rotation.from_euler("x", 3, degrees=True).apply(np.array(head.neutral)) - head.neutral
    push = head.shapes[0]
    evaluated = with_sides(head.with_(shapes=(push, replace(push, name="nod", delta=nod.astype(np.float32)))))
    take = taken(evaluated, [("all", "push_0", False)], 12)
    found = matched(evaluated, take, ["all"])
    assert found.cells == (("all", "push_0", False),)
    assert found.notes == ("nod: little else than a motion of the head, so it gets no weight.",)


@pytest.mark.parametrize("bent", ["in-between", "hinge"])
def test_shapes_that_do_not_go_straight_come_back(bent: str) -> None:
    """An in-between far off the line (OpenUSD, UsdSkel: piecewise linear), or a turn of 25 degrees, beside pushes that
    could make up for it in part."""
    head = bowl()
    first = head.shapes[0]
    if bent == "in-between":
        middle = (0.5 * first.delta + 0.5 * head.shapes[3].delta).astype(np.float32)
        shape, hinges = replace(first, inbetweens=(InBetween(0.5, middle),)), {}
    else:
        low = np.clip((20.0 - head.neutral[:, 1]) / 40.0, 0.0, 1.0)
        origin = np.array([0.0, 20.0, -30.0])
        hinge = Hinge(np.array([1.0, 0.0, 0.0]), origin, float(np.deg2rad(25.0)), low.astype(np.float32))
        arm = np.array(head.neutral) - hinge.origin
        turned = Rotation.from_euler("x", 25.0, degrees=True).apply(arm) - arm
        shape, hinges = replace(first, delta=(low[:, None] * turned).astype(np.float32)), {"push_0": hinge}
    evaluated = with_sides(head.with_(shapes=(shape, *head.shapes[1:])), hinges)
    cells = [("all", "push_0", False), ("all", "push_5", False)]
    take = taken(evaluated, cells, 24, noise_mm=0.05)
    found = matched(evaluated, take, ["all"])
    assert set(found.cells) == set(cells)
    np.testing.assert_allclose(weights_of(found, cells), take.weights, atol=0.02)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("more", "planted", "told"), [
    (0.0, "part", "part"), (0.0, "both", "part"), (0.1, "part", "part"), (0.1, "both", "both"),
])  # fmt: skip
def test_of_shapes_alike_in_a_region_the_one_about_it_is_told(
    more: float, planted: str, told: str, turned: bool
) -> None:  # fmt: skip
    """`both` does on the left what `part` does, and as much on the right. Where they are the same on the left, `part`
    is told; where `both` also does `more` there than noise hides, what was planted is told. The order of shapes does
    not matter. By reasoning: the same field says nothing of which shape made it."""
    head = bowl()
    x, y = head.neutral[:, 0], head.neutral[:, 1]
    left, right, lower, wide = (
        6.0 * np.exp(-0.5 * ((x - at) ** 2 + (y - up) ** 2) / size**2)[:, None] * np.array([0.0, 0.6, 0.8])
        for at, up, size in ((50.0, 0.0, 13.0), (-50.0, 0.0, 13.0), (50.0, 40.0, 13.0), (0.0, -30.0, 30.0))
    )
    part = replace(head.shapes[0], name="part", delta=left.astype(np.float32))
    both = replace(part, name="both", delta=(0.8 * (left + right + more * lower)).astype(np.float32))
    middle = replace(part, name="wide", delta=wide.astype(np.float32))  # on one side only: no shape of the whole face
    pair = (part, both) if turned else (both, part)
    evaluated = with_sides(head.with_(shapes=(*pair, middle, *head.shapes[3:])))
    found = matched(evaluated, taken(evaluated, [("left", planted, False), ("right", "wide", False)], 24))
    assert set(found.cells) == {("left", told, False), ("right", "wide", False)}
