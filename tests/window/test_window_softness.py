"""The softness of a region in the hand: a slider, the wheel with Shift, and the press that mends a border."""

from __future__ import annotations

import numpy as np

from composer.checks.finding import Finding
from composer.edits.softness import softness_of
from tests.window.hand import Hand


def test_the_slider_widens_a_border_live_and_one_step_takes_it_back(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.key("P")
    hand.until(lambda: hand.window.panels.painting.ready_for(session), "the brush")
    session.region = "cheek_left"
    hand.frames(3)
    before, mask = session.history.committed, hand.mask("cheek_left")
    left, top, right, bottom = hand.seen["softness"]
    hand.press(left + 0.3 * (right - left), (top + bottom) / 2)
    hand.drag(left + 0.7 * (right - left), (top + bottom) / 2, steps=4)
    wide = softness_of(session.project, "cheek_left")
    assert wide is not None and 35.0 < wide < 50.0 and session.previewing
    assert np.abs(hand.mask("cheek_left") - mask).max() > 0.1
    hand.release()
    assert not session.previewing and session.history.committed is not before
    face = [session.evaluated.effective[r.name] for r in session.project.regions if r.set == "face"]
    inside = np.sum([hand.session.evaluated.raw[r.name] for r in before.regions], axis=0) > 1.2
    assert np.sum(face, axis=0)[inside].min() > 0.99  # nobody's ground is inside the face
    hand.key("Ctrl+Z")
    assert session.history.committed is before
    np.testing.assert_array_equal(hand.mask("cheek_left"), mask)


def test_the_wheel_with_shift_changes_the_chosen_region(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    session.region = "cheek_left"
    eye = hand.stage.eye
    hand.hold("Shift")
    hand.wheel(2.0, *hand.in_region("cheek_left"))
    first = softness_of(session.project, "cheek_left")
    hand.wheel(-1.0)
    hand.let_go("Shift")
    second = softness_of(session.project, "cheek_left")
    assert first is not None and second is not None and second < first
    assert hand.stage.eye == eye
    hand.key("Ctrl+Z")
    hand.key("Ctrl+Z")
    assert softness_of(session.project, "cheek_left") is None


def test_a_finding_of_a_border_is_mended_by_one_press(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.key("Ctrl+E")
    hand.until(lambda: hand.window.panels.findings.recipe is not None and not hand.stage.work.jobs, "a check")
    findings = hand.window.panels.findings
    findings.found = [Finding("seam.ramp", "warning", "planted", "widen", where="cheek_right", ramp_mm=40.4)]
    hand.stage.dialogs.findings = True
    hand.frames(3)
    hand.click_on("widen 0")
    assert softness_of(session.project, "cheek_right") == 40.0
    hand.settle()
    assert findings.recipe is session.recipe
    hand.key("Ctrl+Z")
    assert softness_of(session.project, "cheek_right") is None
