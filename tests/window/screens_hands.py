"""States of the window in which something is asked, offered or chosen: for `tests.window.screens`."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from composer.formats.mesh import mesh_of
from composer.formats.obj import write
from tests.window.hand import Hand


def finding_chosen(hand: Hand) -> None:
    """A finding that is looked at, with the presses that mend it."""
    hand.key("Ctrl+E")
    hand.until(lambda: hand.window.panels.findings.found, "findings")
    hand.settle()
    hand.click_on("finding 0")
    hand.settle()


def chance_gallery(hand: Hand) -> None:
    """What chance found, as pictures."""
    hand.click_on("Random")
    for _ in range(4):
        hand.click_on("One more")
    hand.settle()


def shared_ground(hand: Hand) -> None:
    """A stroke on a neighbour's ground, and the press that takes it."""
    hand.key("P")
    hand.until(lambda: hand.window.panels.painting.ready_for(hand.session), "the brush")
    hand.session.region = "cheek_left"
    hand.press(*hand.in_region("cheekbone_left"))
    hand.release()
    hand.settle()


def dropped_target(hand: Hand) -> None:
    """A single target that was dropped over the document."""
    target = Path(tempfile.mkdtemp()) / "cry.obj"
    write(target, mesh_of(hand.session.head, hand.session.evaluated.pose(hand.session.recipe), unit="mm"))
    hand.drop(target)
    hand.frames(3)


def folder_browser(hand: Hand) -> None:
    """Folders to choose from, and a fault at the field."""
    hand.stage.dialogs.open_path = True
    hand.frames(3)
    hand.click_on("sheet path")
    hand.text("/a/folder/that/is/not/there")
    hand.click_on("sheet open")
    hand.frames(3)


HAND_STATES: dict[str, Callable[[Hand], None]] = {
    each.__name__: each for each in (finding_chosen, chance_gallery, shared_ground, dropped_target, folder_browser)
}
