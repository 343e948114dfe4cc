"""Opening: the demo, a library that nobody has marked, a document; what then is to be seen."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.progress import Progress
from composer.viewer.session import open_job
from composer.viewer.session.open_job import in_brief
from composer.viewer.session.pointing import look_up, region_at
from tests.window.dome import PLACES
from tests.window.hand import Hand


def test_the_welcome_page_has_the_demo_one_click_away(
    hand: Hand, demo: Path, tmp_path: Path
) -> None:
    shutil.copytree(demo.parent, tmp_path / "settings" / "data" / "demo")
    hand.click_on("Open the demo")
    hand.until(lambda: hand.stage.session is not None)
    hand.settle()
    assert hand.inputs == 1 and len(hand.session.project.recipes) == 4


def test_the_demo_opens_with_regions_recipes_and_pictures(open_demo: Hand) -> None:
    hand = open_demo
    assert len(hand.session.project.regions) == 40
    assert [r.name for r in hand.session.project.recipes] == ["half_believed", "wink", "call", "two_minds"]
    cards = [name for name in hand.seen if name.startswith("shape ")]
    assert len(cards) >= 9
    seen = hand.picture()
    for name in ["recipe wink", "recipe call", *cards[:6]]:
        left, top, right, bottom = (round(v) for v in hand.seen[name])
        side = min(bottom - top, right - left) - 24
        assert seen[top + 12 : top + side, left + 12 : left + side].std() > 8, f"{name} has no picture"


def test_the_head_is_seen_lit_before_a_calm_ground(open_demo: Hand) -> None:
    seen = open_demo.view_picture().astype(float)
    high, wide = seen.shape[:2]
    middle, corner = seen[high // 3 : -high // 3, wide // 3 : -wide // 3], seen[-40:-10, 10:40]
    assert middle.std() > 10 > 6 > corner.std()
    assert abs(middle.mean(axis=(0, 1)) - corner.mean(axis=(0, 1))).max() > 8


def test_an_unmarked_library_opens_with_regions_of_what_moves(open_dome: Hand) -> None:
    hand = open_dome
    assert not hand.session.head.landmarks
    assert len(hand.session.project.regions) >= len(PLACES) - 1
    assert hand.session.head.shape_names == sorted(PLACES)
    neutral = hand.session.head.neutral
    for x, y in PLACES.values():
        vertex = int(np.argmin(np.hypot(neutral[:, 0] - x, neutral[:, 1] - y)))
        assert region_at(hand.stage, look_up(hand.stage, *hand.at_vertex(vertex))), f"no region about {x, y}"


def test_what_is_open_stays_until_the_next_is_there(open_dome: Hand, demo: Path) -> None:
    hand, before = open_dome, open_dome.session
    hand.drop(demo)
    assert hand.session is before or len(hand.session.project.recipes) == 4, "the old one, or all of the next"
    hand.until(lambda: hand.session is not before)
    hand.settle()
    assert len(hand.session.project.recipes) == 4


def test_loading_can_be_cancelled(hand: Hand, demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read = open_job.open_path

    def slowly(path: Path, progress: Progress, *others: object) -> object:
        for _ in range(6000):  # a minute: a cancelled job ends at its next word of progress
            progress(0.0, "reading")
            time.sleep(0.01)
        return read(path, progress, *others)  # type: ignore[arg-type]

    monkeypatch.setattr(open_job, "open_path", slowly)
    hand.drop(demo)
    hand.until(lambda: "cancel opening" in hand.seen)
    hand.click_on("cancel opening")
    hand.until(lambda: not hand.stage.work.jobs)
    hand.frames(3)
    assert hand.stage.session is None and "Open the demo" in hand.seen and not hand.told


def test_recent_documents_are_offered_on_the_next_start(new_hand: Callable[..., Hand], library: Path) -> None:
    first = new_hand()
    first.open(library)
    first.window.on_close()
    first.frames(3)
    from composer.viewer.session.settings import read_settings

    again = new_hand(settings=read_settings())
    again.frames(2)
    again.click_on(f"recent {library.name}")
    again.until(lambda: again.stage.session is not None)


def test_a_path_can_be_typed(hand: Hand, library: Path) -> None:
    hand.click_on("path")
    hand.text(str(library))
    hand.key("Enter")
    hand.until(lambda: hand.stage.session is not None)
    assert hand.inputs == 3


def test_a_note_that_lists_much_is_told_in_brief() -> None:
    listed = "Taken for parts by form: " + ", ".join(f"part_{i}" for i in range(11)) + "."
    told = in_brief(listed)
    assert "part_3 and 7 more" in told and "part_4" not in told
    for note in ("The unit was taken to be mm: the head's diagonal is then 259 mm.", "Taken for parts: a, b.", "Plain"):
        assert in_brief(note) == note
