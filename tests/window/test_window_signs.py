"""What a region is known by, and how a new recipe joins, as a person meets them."""

from __future__ import annotations

from pathlib import Path

from tests.window.hand import Hand


def test_a_region_that_goes_changes_no_number_or_colour_and_the_file_keeps_them(hand: Hand, own_demo: Path) -> None:
    hand.open(own_demo)
    session = hand.session
    before = dict(session.signs)
    hand.key("P")
    hand.until(lambda: "region forehead_right" in hand.seen, "the list")
    hand.click_on("region forehead_right", 4)
    hand.click_on("Delete region")
    assert "forehead_right" not in session.signs and len(session.signs) == len(before) - 1
    assert all(session.signs[name] == before[name] for name in session.signs)
    hand.key("Ctrl+S")
    hand.until(lambda: not session.unsaved, "saved")
    text = session.file.read_text()
    assert f"number = {before['neck_right'].number}" in text and "colour = " in text


def test_a_new_recipe_joins_seamlessly_and_says_so(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    hand.click_on("New recipe")
    assert session.recipe.join == "seamless" and any("seamlessly" in words for words in hand.told)
    assert session.recipe.contact
    hand.click_on("Linear")
    assert session.recipe.join == "linear"


def test_where_the_join_takes_long_a_new_recipe_is_linear_and_says_why(open_demo: Hand) -> None:
    hand, session = open_demo, open_demo.session
    session.joined.seconds = 4.0
    hand.click_on("New recipe")
    assert session.recipe.join == "linear" and any("takes 4.0 s" in words for words in hand.told)
