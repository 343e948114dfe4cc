"""The tray and what chance found, by keys alone, as a grid of pictures is walked over (W3C, WAI-ARIA Authoring
Practices 1.2, "Layout Grids": one stop of Tab; arrows, Home, End and with Ctrl; Enter presses). Tab reaches every panel
once."""

from __future__ import annotations

import numpy as np
import pytest

from tests.window.hand import Hand


def walk_to(hand: Hand, stop: str) -> None:
    """Tab until the keyboard is on a stop."""
    for _ in range(60):
        if hand.window.kit.stops.has is not None and hand.window.kit.stops.has[1] == stop:
            return
        hand.key("Tab")
    raise AssertionError(f"Tab does not come to {stop}")


def across(hand: Hand, kind: str) -> int:
    """How many pictures stand in the first line."""
    tops = [box[1] for name, box in hand.seen.items() if name.startswith(kind)]
    return tops.count(min(tops))


def test_the_tray_is_one_stop_and_arrows_walk_over_its_pictures(open_demo: Hand) -> None:
    hand = open_demo
    grid, names = hand.window.panels.tray.pictures, hand.session.head.shape_names
    walk_to(hand, "pictures of shapes")
    wide = across(hand, "shape ")
    assert grid.at == names[0] and grid.walked
    plain = hand.picture().astype(int)
    hand.key("Right")
    assert grid.at == names[1]
    x0, y0, x1, _ = (round(at) for at in hand.seen[f"shape {names[1]}"])
    ring = np.abs(hand.picture().astype(int) - plain)[y0 : y0 + 4, x0 + 6 : x1 - 6]
    assert ring.max() > 60, "no ring about the picture"
    hand.key("Down")
    assert grid.at == names[1 + wide]
    hand.key("Home")
    assert grid.at == names[wide]
    hand.key("Left")
    assert grid.at == names[wide - 1], "from the first of a line to the last of the one before"
    hand.key("Ctrl+End")
    assert grid.at == names[-1]
    hand.frames(3)
    panel = hand.window.height
    assert hand.seen[f"shape {names[-1]}"][3] <= panel, "the lines scroll to where the keyboard is"
    hand.key("Down")
    assert grid.at == names[-1]
    hand.key("PageUp")
    hand.key("Ctrl+Home")
    assert grid.at == names[0] and hand.session.shape == ""


def test_a_shape_comes_into_a_region_by_keys_alone(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("row cheek_right")
    walk_to(hand, "pictures of shapes")
    shape = hand.window.panels.tray.pictures.at
    hand.key("Enter")
    assert hand.session.shape == shape and hand.session.weight(("cheek_right", shape, False)) is None
    hand.key("Enter")
    assert hand.session.weight(("cheek_right", shape, False)) == 1.0
    hand.key("R")
    hand.frames(3)
    assert "Mark shape" in hand.seen, "the menu of the picture"
    hand.key("Escape")
    hand.key("Tab")
    assert hand.window.kit.stops.has[0] != "right", "one stop: Tab leaves the tray"


def test_what_chance_found_is_walked_over_and_shown(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("Random")
    for _ in range(3):
        hand.click_on("One more")
    trying, grid = hand.window.panels.trying, hand.window.panels.gallery
    newest = trying.gallery[-1].name
    walk_to(hand, "pictures by chance")
    assert grid.at == newest
    hand.key("Right")
    hand.key("Enter")
    assert trying.found is trying.gallery[-2]
    hand.key("Left")
    hand.key("Space")
    assert trying.found is trying.gallery[-1]


@pytest.mark.parametrize("back", ["", "Shift+"])
def test_tab_comes_to_every_panel_and_round_again(open_demo: Hand, back: str) -> None:
    hand, came = open_demo, []
    for _ in range(90):
        hand.key(f"{back}Tab")
        has = hand.window.kit.stops.has
        if came and has == came[0]:
            break
        came.append(has)
    else:
        raise AssertionError(f"Tab does not come round: {came}")
    panels = [panel for panel, _ in came]
    order = [name for i, name in enumerate(panels) if i == 0 or name != panels[i - 1]]
    assert len(set(came)) == len(came) and len(set(order)) >= 5
    assert len(order) - len(set(order)) <= 1, f"a panel is left and come back to: {order}"
