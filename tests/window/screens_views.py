"""States of the menu of views, of pictures that are saved and of reference pictures: for `tests.window.screens`."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.window.hand import Hand


def views_kept(hand: Hand) -> None:
    """The menu of views, two of them kept."""
    for name in ("below", "profile"):
        hand.click_on(f"view {name}")
        hand.settle()
        hand.key("F3")
        hand.click_on("Keep this view")
        hand.key("Enter")
        hand.key("Escape")
    hand.key("F3")
    hand.frames(3)


def views_picture_sheet(hand: Hand) -> None:
    """The sheet that saves a picture, of a sweep."""
    hand.click_on("recipe wink")
    hand.key("Ctrl+P")
    hand.frames(3)
    hand.click_on("Cell swept")
    hand.fill("picture folder", str(Path(tempfile.gettempdir())))
    hand.frames(3)


def views_reference(hand: Hand) -> None:
    """A reference picture being placed behind the head, its menu open."""
    picture = hand.session.project.path.parent / "reference.png"
    thumb = hand.view_picture()
    from PIL import Image

    Image.fromarray(thumb[:, :, ::-1].copy()).save(picture)
    hand.drop(picture)
    hand.settle()
    picture.unlink()
    hand.click_on("Views")
    hand.click_on("Reference pictures")
    hand.click_on("Place by hand")
    left, top, width, height = hand.stage.view
    hand.press(left + width / 2, top + height / 2)
    hand.drag(left + 0.75 * width, top + 0.4 * height)
    hand.release()
    hand.click_on("Views")
    hand.click_on("Reference pictures")
    hand.frames(3)


def views_match_sheet(hand: Hand) -> None:
    """The sheet that asks for a performance."""
    hand.key("S")
    hand.settle()
    hand.click_on("Match take" if "Match take" in hand.seen else "Clip")
    hand.frames(3)


VIEW_STATES: dict[str, Callable[[Hand], None]] = {
    call.__name__: call for call in (views_kept, views_picture_sheet, views_reference, views_match_sheet)
}
