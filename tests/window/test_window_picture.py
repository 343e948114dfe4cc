"""Pictures saved from the window: a still, a turn, a sweep and a clip of what is seen, never over a file unasked."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from composer.cli.sheet import sheet
from tests.window.hand import Hand


def shot(hand: Hand, name: str) -> None:
    folder = os.environ.get("MOUE_SHOTS")
    if folder:
        hand.shot(f"{folder}/{name}.png")


def ask(hand: Hand, kind: str, to: Path, name: str, size: tuple[int, int] = (90, 70)) -> None:
    """Ask for a picture of this kind, under a name in a folder."""
    hand.key("Ctrl+P")
    hand.frames(3)
    hand.click_on(kind)
    hand.click_on("Own")
    for field, value in zip(("width", "height"), size, strict=True):
        hand.fill(f"picture {field}", str(value))
    hand.fill("picture folder", str(to))
    hand.fill("picture name", name)


def save(hand: Hand) -> None:
    hand.click_on("picture save")
    hand.until(lambda: not any(job.name.startswith("Saving") for job in hand.stage.work.jobs), "the picture")


@pytest.fixture
def small(hand: Hand, own_small_demo: Path) -> Hand:
    """A window with a small demo of its own."""
    hand.open(own_small_demo)
    return hand


def test_a_still_is_what_the_command_pictures_by_the_kept_view(small: Hand, tmp_path: Path) -> None:
    """The window's still and `moue sheet --only RECIPE --view NAME` of the saved document are the same pixels."""
    hand, document = small, small.session.file
    hand.click_on("view three_quarter")
    hand.settle()
    hand.key("F3")
    hand.click_on("Keep this view")
    hand.key("Enter")
    hand.key("Escape")
    ask(hand, "Still", tmp_path, "seen")
    shot(hand, "picture_sheet")
    save(hand)
    assert not hand.wrong and any("seen.png" in line for line in hand.told), hand.told
    hand.key("Ctrl+S")
    hand.until(lambda: not hand.session.unsaved, "saved")
    recipe = hand.session.recipe_name
    sheet(document, tmp_path / "told.png", only=recipe, view="view", size="90x70", whole_head=True)
    seen, told = (np.asarray(Image.open(tmp_path / f"{name}.png")).astype(int) for name in ("seen", "told"))
    assert seen.shape == (70, 90, 3) and np.ptp(seen) > 100
    assert np.abs(seen - told).mean() < 0.6, "the window's pose is held in single precision, nothing else differs"


def test_nothing_is_written_over_unasked(small: Hand, tmp_path: Path) -> None:
    hand = small
    (tmp_path / "there.png").write_bytes(b"\x89PNG mine")
    (tmp_path / "page.png").write_text("not a picture")
    ask(hand, "Still", tmp_path, "there")
    hand.frames(3)
    hand.click_on("picture save")
    hand.frames(3)
    assert (tmp_path / "there.png").read_bytes() == b"\x89PNG mine" and hand.stage.dialogs.picture
    hand.fill("picture name", "page")
    hand.until(lambda: "fault of picture" in hand.seen, "the fault")
    hand.fill("picture name", "there")
    hand.until(lambda: "picture over" in hand.seen, "the question")
    hand.click_on("picture over")
    shot(hand, "picture_over")
    save(hand)
    assert Image.open(tmp_path / "there.png").size == (90, 70)
    assert (tmp_path / "page.png").read_text() == "not a picture"


def test_a_turn_without_ground_and_a_sweep_and_a_clip_as_frames(small: Hand, tmp_path: Path) -> None:
    hand = small
    ask(hand, "Turned about", tmp_path, "round", (40, 50))
    hand.click_on("picture clear")
    hand.window.panels.picture.turn = 12
    save(hand)
    with Image.open(tmp_path / "round.webp") as moving:
        assert (moving.n_frames, moving.size) == (12, (40, 50))
        assert moving.convert("RGBA").getchannel("A").getextrema() == (0, 255)
    shape = hand.session.head.shape_names[0]
    hand.click_on(f"shape {shape}")
    ask(hand, "Cell swept", tmp_path, "swept", (40, 50))
    hand.click_on("A PNG a frame")
    hand.window.panels.picture.sweep = 3
    save(hand)
    assert sorted(file.suffix for file in (tmp_path / "swept").iterdir()) == [".json", ".png", ".png", ".png"]
    ask(hand, "Still", tmp_path, "no/such/folder")
    hand.until(lambda: "fault of picture" in hand.seen, "the fault")
    hand.key("Escape")
    assert not hand.stage.dialogs.picture and not hand.wrong


def test_a_cancelled_picture_leaves_nothing(small: Hand, tmp_path: Path) -> None:
    hand = small
    ask(hand, "Turned about", tmp_path, "round", (400, 500))
    hand.window.panels.picture.turn = 240
    hand.click_on("picture save")
    hand.until(lambda: "cancel saving" in hand.seen, "the job")
    hand.click_on("cancel saving")
    hand.until(lambda: not hand.stage.work.jobs, "stopped")
    assert not list(tmp_path.glob("round*")) and not hand.wrong
