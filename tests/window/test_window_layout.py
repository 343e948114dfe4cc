"""Panels dragged and folded, the view's share of the window, names that stay apart, Tab through all panels."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from composer.picture.letter_order import as_drawn
from composer.viewer.session.settings import read_settings, write_settings
from composer.viewer.ui import theme
from composer.viewer.ui.room import VIEW_SHARE
from tests.window.hand import Hand


def view_share(hand: Hand) -> float:
    """The share of the window that the view has."""
    _, _, width, height = hand.stage.view
    return width * height / (hand.window.width * hand.window.height)


@pytest.mark.parametrize("size", [(900, 560), (2560, 1440)])
def test_the_view_keeps_its_share_in_every_place(new_hand: Callable[..., Hand], library: Path, size) -> None:
    hand = new_hand(size=size)
    hand.open(library)
    for key in ("M", "P", "L"):
        hand.key(key)
        assert view_share(hand) >= VIEW_SHARE - 1e-3
        assert not hand.stage.room.folded


def test_a_panel_is_dragged_and_folded_and_stays_so(
    new_hand: Callable[..., Hand], library: Path
) -> None:
    hand = new_hand()
    hand.open(library)
    left, top, right, bottom = hand.seen["edge board"]
    before = hand.stage.room.foot
    hand.press(left + 30, (top + bottom) / 2)
    hand.drag(left + 30, top - 60)
    hand.release()
    assert hand.stage.room.foot > before + 40
    assert view_share(hand) >= VIEW_SHARE - 1e-3
    hand.click_on("fold tray")
    assert "search shapes" not in hand.seen and hand.stage.room.folded == {"right"}
    wide = hand.stage.view[2]
    write_settings(hand.stage.settings)
    again = new_hand(settings=read_settings())
    again.open(library)
    assert again.stage.room.folded == {"right"} and again.stage.view[2] == wide
    again.key("F7")
    assert "search shapes" in again.seen and not again.stage.room.folded
    again.key("F7")
    again.click_on("unfold tray")
    assert not again.stage.room.folded


def test_a_window_too_small_for_all_panels_keeps_the_one_that_was_asked_for(
    new_hand: Callable[..., Hand], library: Path
) -> None:
    hand = new_hand(size=(700, 480))
    hand.open(library)
    folded = hand.stage.room.folded
    assert folded and view_share(hand) >= VIEW_SHARE - 1e-3
    hand.key("F6")
    assert "left" not in hand.stage.room.folded and view_share(hand) >= VIEW_SHARE - 1e-3


def test_tab_goes_through_every_panel_and_back(open_dome: Hand) -> None:
    hand, walked = open_dome, []
    for _ in range(60):
        hand.key("Tab")
        walked.append(hand.window.kit.stops.has)
        if walked.count(walked[0]) > 1:
            break
    panels = list(dict.fromkeys(panel for panel, _ in walked))
    assert panels == ["header", "left", "over view", "foot", "right"]
    names = {name for _, name in walked}
    assert {"Mix", "Save", "New recipe", "view back", "overlay", "Mirrored", "search shapes"} <= names
    assert {f"shape {name}" for name in hand.session.head.shape_names} <= names
    hand.key("Shift+Tab")
    assert hand.window.kit.stops.has == walked[-2]


def test_names_of_any_script_are_drawn(new_hand: Callable[..., Hand], library: Path) -> None:
    names = {"chin": "ذقن_مرفوع", "smile_left": "微笑_左", "brow_left": "גבה_שמאל"}
    for old, new in names.items():
        (library / f"{old}.obj").rename(library / f"{new}.obj")
    hand = new_hand()
    hand.open(library)
    assert {f"shape {name}" for name in names.values()} <= set(hand.seen)
    words = hand.window.panels.tray.words
    assert words["ذقن_مرفوع"] == (as_drawn("ذقن_مرفوع"), "") != ("ذقن_مرفوع", "")
    missing = theme.letters_missing(hand.window.kit.faces.plain, list(names.values()))
    assert bool(missing) == any("typeface" in line for line in hand.told), "what cannot be drawn is told once"
