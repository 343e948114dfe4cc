"""Views kept in the document, as a person keeps them, goes to them, renames and deletes them."""

from __future__ import annotations

import os

import numpy as np

from tests.window.hand import Hand


def names(hand: Hand) -> list[str]:
    return [view.name for view in hand.session.project.views]


def look(hand: Hand) -> np.ndarray:
    """What tells one look from another: the eye's place, and its axes."""
    return np.concatenate([hand.stage.eye.place, hand.stage.eye.axes.ravel()])


def shot(hand: Hand, name: str) -> None:
    folder = os.environ.get("MOUE_SHOTS")
    if folder:
        hand.shot(f"{folder}/{name}.png")


def test_a_view_is_kept_gone_to_renamed_and_deleted(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("view below")
    hand.wheel(6, *hand.at_vertex(hand.session.head.landmarks.vertex("stomion", hand.session.head.neutral)))
    hand.settle()
    near = look(hand)
    hand.click_on("Views")
    hand.click_on("Keep this view")
    assert names(hand) == ["view"]
    hand.text("mouth / closing")
    hand.key("Enter")
    assert names(hand) == ["mouth / closing"] and not hand.wrong
    hand.fill("view name", "front")
    hand.key("Enter")
    assert "fault of view name" in hand.seen and names(hand) == ["mouth / closing"]
    shot(hand, "views_menu")
    hand.key("Escape")

    hand.click_on("view front")
    hand.settle()
    assert np.abs(look(hand) - near).max() > 10.0
    hand.key("Shift+F3")
    hand.settle()
    np.testing.assert_allclose(look(hand), near, atol=0.5)
    hand.click_on("view back")
    hand.settle()
    hand.key("F3")
    hand.click_on("kept view mouth / closing")
    hand.settle()
    np.testing.assert_allclose(look(hand), near, atol=0.5)
    hand.click_on("Delete view")
    assert names(hand) == []
    hand.key("Escape")
    hand.key("Ctrl+Z")
    assert names(hand) == ["mouth / closing"]


def test_the_menu_of_views_is_walked_by_keys(open_demo: Hand) -> None:
    hand = open_demo
    hand.key("F3")
    hand.key("Tab")
    hand.key("Enter")
    assert names(hand) == ["view"]


def test_a_tilted_view_turns_the_picture_and_is_panned_and_turned_as_it_is_seen(open_demo: Hand) -> None:
    from dataclasses import replace

    hand = open_demo
    hand.click_on("view front")
    hand.settle()
    nose = hand.session.head.landmarks.vertex("pronasale", hand.session.head.neutral)
    hand.stage.turn(replace(hand.stage.eye, tilt=90.0))
    hand.frames(2)
    x, y = hand.at_vertex(nose)
    left, top, width, height = hand.stage.view
    hand.press(left + 12, top + height / 2, 4)
    hand.drag(left + 52, top + height / 2)
    hand.release()
    moved = np.array(hand.at_vertex(nose)) - (x, y)
    assert moved[0] > 5.0 and abs(moved[1]) < 0.3 * moved[0], "a drag to the right takes the nose to the right"
