"""What Moue takes the open head for, in the window, as a person meets it."""

from __future__ import annotations

from tests.window.hand import Hand


def test_the_title_opens_what_is_believed_of_the_head(open_demo: Hand) -> None:
    hand = open_demo
    hand.click_on("title")
    hand.until(lambda: hand.window.panels.about.lines, "what is believed")
    hand.settle()
    topics = [line.topic for line in hand.window.panels.about.lines]
    assert {"neutral", "unit", "sides", "landmarks"} <= set(topics)
    doubts = [line.doubt for line in hand.window.panels.about.lines]
    assert doubts == sorted(doubts, reverse=True)  # questions come first
    hand.click_on("about close")
    hand.settle()
    assert not hand.stage.dialogs.about
    hand.key("F2")
    hand.settle()
    assert hand.stage.dialogs.about
    hand.key("Escape")
    hand.settle()
    assert not hand.stage.dialogs.about
