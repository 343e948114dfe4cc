"""Painting: what a stroke changes, what it leaves alone, how it is taken back, and that its record replays."""

from __future__ import annotations

import numpy as np
import pytest

from composer.viewer.session.pointing import look_up
from tests.window.hand import Hand

RADIUS, HARDNESS = 20.0, 0.2


@pytest.fixture
def painter(open_dome: Hand) -> Hand:
    """The dome with an empty region of its own, in the painting place."""
    hand = open_dome
    to_paint(hand)
    return hand


def to_paint(hand: Hand, radius: float = RADIUS) -> None:
    """Go to painting, make an empty region called `mine`, and set the brush."""
    hand.key("P")
    hand.settle()
    hand.click_on("New region")
    hand.click_on("Empty overlay")
    hand.frames(3)
    hand.key("Ctrl+A")
    hand.text("mine")
    hand.key("Enter")
    assert hand.session.region == "mine", hand.told
    brush = hand.window.panels.painting
    brush.radius_mm, brush.hardness, brush.strength = radius, HARDNESS, 1.0
    hand.move(*hand.middle("New region"))
    hand.settle()
    assert brush.ready_for(hand.session)


def near(hand: Hand, x: float, y: float) -> int:
    """The vertex nearest to (x, y) mm, seen from the front."""
    neutral = hand.session.head.neutral
    return int(np.argmin(np.hypot(neutral[:, 0] - x, neutral[:, 1] - y)))


def along(hand: Hand, vertex: int) -> np.ndarray:
    """(n,) mm along the surface from a vertex: exact polyhedral geodesics by libigl (Mitchell, Mount, Papadimitriou
    1987), an implementation that is not ours."""
    igl = pytest.importorskip("igl")
    head = hand.session.head
    triangles = np.ascontiguousarray(head.polygons.triangles, dtype=np.int64)
    everywhere, none = np.arange(head.n_vertices, dtype=np.int64), np.zeros(0, dtype=np.int64)
    return igl.exact_geodesic(
        np.ascontiguousarray(head.neutral), triangles, np.array([vertex], dtype=np.int64), none, everywhere, none
    )


def test_a_dab_changes_exactly_the_vertices_under_the_ring(painter: Hand) -> None:
    hand, vertex = painter, near(painter, -6.0, 10.0)
    hand.click(*hand.at_vertex(vertex))
    mask, away = hand.mask("mine"), along(hand, vertex)
    assert (mask[away < 0.93 * RADIUS] > 0).all()
    assert (mask[away > 1.07 * RADIUS] == 0).all()
    assert (mask > 0).sum() > 20
    t = np.clip((1.0 - away / RADIUS) / (1.0 - HARDNESS), 0.0, 1.0)
    np.testing.assert_allclose(mask, t * t * (3.0 - 2.0 * t), atol=0.12)


def test_the_ring_lies_where_the_brush_ends(painter: Hand) -> None:
    hand, vertex = painter, near(painter, -6.0, 10.0)
    hand.move(*hand.at_vertex(vertex))
    a, b, t = hand.window.panels.painting.ring(hand.session, hand.stage.hit)
    neutral, away = hand.session.head.neutral, along(hand, vertex)
    assert len(a) > 8
    rest = 1.0 - t.sum(axis=1)
    np.testing.assert_allclose(rest * away[a] + (t * away[b]).sum(axis=1), RADIUS, atol=1.5)
    points = rest[:, None] * neutral[a] + (t[:, :, None] * neutral[b]).sum(axis=1)
    turns = np.sort(np.arctan2(points[:, 1] - neutral[vertex, 1], points[:, 0] - neutral[vertex, 0]))
    assert np.diff(turns).max() < 0.8, "the ring has a gap"


def test_a_drag_paints_all_along_its_way(painter: Hand) -> None:
    hand, start, end = painter, near(painter, -30.0, 0.0), near(painter, 30.0, 0.0)
    hand.press(*hand.at_vertex(start))
    hand.drag(*hand.at_vertex(end), steps=4)
    hand.release()
    neutral, mask = hand.session.head.neutral, hand.mask("mine")
    on_the_way = (np.abs(neutral[:, 1]) < 5) & (np.abs(neutral[:, 0]) < 30)
    assert (mask[on_the_way] > 0.5).all()
    assert (mask[np.abs(neutral[:, 1]) > 1.1 * RADIUS + 4] == 0).all()


def test_a_mirrored_stroke_falls_alike_on_both_sides(painter: Hand) -> None:
    hand = painter
    hand.key("Y")
    assert hand.window.panels.painting.mirrored
    hand.click(*hand.at_vertex(near(hand, 40.0, 20.0)))
    neutral, mask = hand.session.head.neutral, hand.mask("mine")
    other = [int(np.argmin(np.linalg.norm(neutral - p * [-1, 1, 1], axis=1))) for p in neutral]
    np.testing.assert_allclose(mask[other], mask, atol=1e-6)
    assert mask[near(hand, 40.0, 20.0)] > 0.9 and mask[near(hand, -40.0, 20.0)] > 0.9


def test_a_mirrored_stroke_falls_on_the_other_sides_region(open_dome: Hand) -> None:
    hand = open_dome
    to_paint(hand)
    for name in ("spot_left", "spot_right"):
        hand.click_on("New region")
        hand.click_on("Empty overlay")
        hand.frames(3)
        hand.key("Ctrl+A")
        hand.text(name)
        hand.key("Enter")
    hand.click_on("region spot_left")
    hand.key("Y")
    hand.click(*hand.at_vertex(near(hand, 40.0, 20.0)))
    left, right, neutral = hand.mask("spot_left"), hand.mask("spot_right"), hand.session.head.neutral
    assert left[near(hand, 40.0, 20.0)] > 0.9 and (left[neutral[:, 0] < 0] == 0).all()
    assert right[near(hand, -40.0, 20.0)] > 0.9 and (right[neutral[:, 0] > 0] == 0).all()


def test_escape_in_a_stroke_leaves_no_trace(painter: Hand) -> None:
    hand, project = painter, painter.session.project
    hand.press(*hand.at_vertex(near(hand, -20.0, 0.0)))
    hand.drag(*hand.at_vertex(near(hand, 20.0, 0.0)))
    assert hand.window.panels.painting.stroking and hand.window.panels.painting.raw.max() > 0.9
    hand.key("Escape")
    hand.drag(*hand.at_vertex(near(hand, 20.0, 30.0)))
    hand.release()
    assert hand.session.project is project and hand.session.history.committed is project
    assert hand.mask("mine").max() == 0


def test_a_stroke_is_one_undo_and_comes_back(painter: Hand) -> None:
    hand = painter
    hand.press(*hand.at_vertex(near(hand, -20.0, 0.0)))
    hand.drag(*hand.at_vertex(near(hand, 20.0, 0.0)), steps=6)
    hand.release()
    painted = hand.mask("mine")
    assert painted.max() > 0.9
    hand.key("Ctrl+Z")
    assert hand.mask("mine").max() == 0 and "mine" in hand.session.region_names
    hand.key("Ctrl+Shift+Z")
    np.testing.assert_array_equal(hand.mask("mine"), painted)


def test_erase_fill_invert_and_clear(painter: Hand) -> None:
    hand, vertex = painter, near(painter, 0.0, 0.0)
    hand.click_on("whole fill")
    assert (hand.mask("mine") == 1).all()
    hand.key("X")
    hand.click(*hand.at_vertex(vertex))
    assert hand.mask("mine")[vertex] < 0.05
    hand.key("I")
    assert hand.mask("mine")[vertex] > 0.95
    hand.click_on("whole clear")
    assert hand.mask("mine").max() == 0


def test_the_wheel_turns_radius_and_strength_with_keys_and_zooms_without(painter: Hand) -> None:
    hand, brush = painter, painter.window.panels.painting
    x, y = hand.at_vertex(near(hand, 0.0, 0.0))
    hand.move(x, y)
    eye, radius = hand.stage.eye, brush.radius_mm
    hand.hold("Ctrl")
    hand.wheel(2, x, y)
    hand.let_go("Ctrl")
    assert brush.radius_mm > radius and hand.stage.eye is eye
    hand.hold("Alt")
    hand.wheel(-3, x, y)
    hand.let_go("Alt")
    assert brush.strength == pytest.approx(0.85) and hand.stage.eye is eye
    hand.wheel(2, x, y)
    assert hand.stage.eye.distance < eye.distance
    hand.key("]")
    hand.key(",")
    assert brush.radius_mm > radius * 1.3 and brush.strength == pytest.approx(0.8)


def test_a_pens_pressure_weakens_a_stroke(painter: Hand) -> None:
    hand, vertex = painter, near(painter, 0.0, 0.0)
    hand.click_on("Strength")
    hand.window.press_pen(0.4)
    hand.click(*hand.at_vertex(vertex))
    assert hand.mask("mine").max() == pytest.approx(0.4, abs=0.02)


def test_a_locked_region_keeps_its_share_while_another_is_painted(open_dome: Hand) -> None:
    hand = open_dome
    to_paint(hand)
    first, second = [r.name for r in hand.session.project.regions if r.set == "face"][:2]
    hand.click_on(f"region {first}", 4)
    hand.click_on("Lock region")
    kept = np.array(hand.session.evaluated.effective[first])
    hand.click_on(f"region {second}")
    hand.press(*hand.at_vertex(int(np.argmax(kept))))
    shown = np.array(hand.window.panels.painting.effective)
    hand.release()
    np.testing.assert_allclose(hand.session.evaluated.effective[first], kept, atol=1e-6)
    np.testing.assert_allclose(hand.session.evaluated.effective[second], shown, atol=1e-6)
    assert hand.mask(second)[int(np.argmax(kept))] > 0.9


def test_nothing_is_painted_across_the_lip_line(open_demo: Hand) -> None:
    hand = open_demo
    head, raw = hand.session.head, hand.session.evaluated.raw
    lower = np.maximum(raw["lower_lip_left"], raw["lower_lip_right"])
    upper = np.maximum(raw["upper_lip_left"], raw["upper_lip_right"])
    to_paint(hand, 12.0)
    inside = np.flatnonzero((upper > 0.6) & head.skin & (np.abs(head.neutral[:, 0]) < 12))

    def pressed_is(vertex: int) -> bool:
        """Whether a press at a vertex meets it, and one a pixel below it the same lip."""
        x, y = hand.at_vertex(vertex)
        hit, below = look_up(hand.stage, x, y), look_up(hand.stage, x, y + 1)
        if hit is None or below is None or vertex not in hit.corners:
            return False
        return bool((upper[below.corners] > 0.6).all())

    vertex = next(int(v) for v in inside[np.argsort(head.neutral[inside, 1])] if pressed_is(int(v)))
    hand.click(*hand.at_vertex(vertex))
    mask = hand.mask("mine")
    close = np.linalg.norm(head.neutral - head.neutral[vertex], axis=1) < 9.0
    across = close & (lower > 0.6) & (upper < 0.2)
    assert mask[vertex] > 0.5 and (mask[close & (upper > 0.6)] > 0).sum() > 10
    assert across.sum() > 5 and mask[across].max() == 0


def test_a_stroke_on_an_opened_pose_writes_the_same_region(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("recipe call")
    to_paint(hand, 12.0)
    hand.click_on("on the pose")
    hand.move(*hand.middle("New region"))
    hand.settle()
    hand.frames(3)
    x, y = hand.in_region("forehead_left")
    hand.until(lambda: hand.window.panels.painting.ready_for(hand.session))
    hand.click(x, y)
    mask = hand.mask("mine")
    assert 0 < (mask > 0).sum() < 0.1 * len(mask)
    assert np.linalg.norm(hand.session.positions() - hand.session.head.neutral, axis=1).max() > 5
