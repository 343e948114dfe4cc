"""A performance matched from the strip of time: a clip that is there in one step, and refusals at their place."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import evaluated_clip
from composer.document.store import open_document
from tests.window.hand import Hand


def shot(hand: Hand, name: str) -> None:
    folder = os.environ.get("MOUE_SHOTS")
    if folder:
        hand.shot(f"{folder}/{name}.png")


@pytest.fixture
def strip(hand: Hand, own_small_demo: Path) -> Hand:
    """A window with a small demo of its own, its strip of time shown."""
    hand.open(own_small_demo)
    hand.key("S")
    hand.settle()
    return hand


def write_take(hand: Hand, to: Path) -> np.ndarray:
    """Frames in which a shape comes and goes, as an NPZ of (f, n, 3) mm; its weights (f,)."""
    head = hand.session.evaluated.head
    weights = 0.8 * np.sin(np.linspace(0.0, np.pi, 7)) ** 2
    shape = head.shape(head.expressions[0].name).delta.astype(np.float64)
    np.savez(to, points=head.neutral + weights[:, None, None] * shape)
    return weights


def fill(hand: Hand, path: Path, name: str) -> None:
    hand.fill("take path", str(path))
    hand.fill("take name", name)


def test_frames_become_a_clip_in_one_step(strip: Hand, tmp_path: Path) -> None:
    hand = strip
    weights = write_take(hand, tmp_path / "take.npz")
    clips = [clip.name for clip in hand.session.project.clips]
    hand.click_on("Match take")
    fill(hand, tmp_path / "nowhere", "take")
    hand.click_on("take match")
    assert "fault of take" in hand.seen and hand.stage.dialogs.match_take, "refused at its place"
    fill(hand, tmp_path / "take.npz", clips[0] if clips else "a/b")
    hand.click_on("take match")
    assert "fault of take" in hand.seen
    hand.fill("take name", "take")
    hand.click_on("Every frame")
    shot(hand, "take_sheet")
    hand.click_on("take match")
    hand.until(lambda: not any(job.asks for job in hand.stage.work.jobs), "the match")
    hand.settle()
    assert not hand.wrong and [clip.name for clip in hand.session.project.clips] == [*clips, "take"], hand.told
    assert hand.window.panels.time.name == "take"
    shot(hand, "take_matched")
    made = evaluated_clip(hand.session.evaluated, "take")
    assert made.n_frames == 7 and len(made.cells) == 1
    np.testing.assert_allclose(made.weights[:, 0], weights, atol=2e-3)
    table = hand.session.file.parent / "take.csv"
    assert table.is_file() and any("take.csv" in line and "Undo" in line for line in hand.told)
    hand.key("Ctrl+Z")
    assert [clip.name for clip in hand.session.project.clips] == clips
    hand.key("Ctrl+Shift+Z")
    hand.key("Ctrl+S")
    hand.until(lambda: not hand.session.unsaved, "saved")
    again = evaluated_clip(EvaluatedDocument.open(open_document(hand.session.file)), "take")
    np.testing.assert_allclose(again.weights, made.weights)


def test_frames_of_another_topology_bring_the_sheet_back_with_why(strip: Hand, tmp_path: Path) -> None:
    hand = strip
    np.savez(tmp_path / "other.npz", points=np.random.default_rng(1).normal(size=(5, 30, 3)))
    hand.click_on("Match take")
    fill(hand, tmp_path / "other.npz", "other")
    hand.click_on("take match")
    hand.until(lambda: "fault of take" in hand.seen, "the fault")
    assert hand.stage.dialogs.match_take and "two topologies" in hand.window.panels.take.fault
    hand.key("Escape")
    assert not hand.stage.dialogs.match_take and "other" not in [c.name for c in hand.session.project.clips]
