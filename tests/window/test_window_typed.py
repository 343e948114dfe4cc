"""Text that runs from the right, while it is typed: what is held is the text as it was typed, what is seen is the line
as it is read. Order by the Unicode Bidirectional Algorithm (Unicode Standard Annex 9, revision 50, rules L2 and P2),
forms by The Unicode Standard 15.1, table 9-9 and the chart of Arabic Presentation Forms-B (U+FE70 to U+FEFF)."""

from __future__ import annotations

import numpy as np
import pytest

from tests.window.hand import Hand

HEBREW, ARABIC = "חיוך", "فم"
"""A smile; and a mouth: FEH before MEEM, so from the left a final MEEM (U+FEE2), then an initial FEH (U+FED3)."""


def ink(hand: Hand, name: str) -> np.ndarray:
    """The columns of a field that hold bright pixels, from its left, in shares of its width."""
    left, top, right, foot = (round(v) for v in hand.seen[name])
    inside = hand.picture()[top + 3 : foot - 3, left + 3 : right - 3].max(axis=(0, 2))
    return np.flatnonzero(inside > 150) / (right - left)


@pytest.mark.parametrize(("typed", "seen"), [(HEBREW, HEBREW[::-1]), (ARABIC, "\ufee2\ufed3")])
def test_a_search_is_seen_as_it_is_read(open_dome: Hand, typed: str, seen: str) -> None:
    hand = open_dome
    hand.click_on("search shapes")
    hand.text(typed)
    assert hand.window.panels.tray.search == typed
    assert str(hand.window.kit.carets.seen["search shapes"]) == seen
    assert ink(hand, "search shapes").min() > 0.6, "it stands at the right, and its caret at its left end"


def test_a_note_is_typed_corrected_and_kept(open_dome: Hand) -> None:
    hand = open_dome
    hand.key("Ctrl+N")
    hand.click_on("note")
    hand.text(HEBREW + "1")
    hand.key("Backspace")
    hand.key("Enter")
    assert hand.session.recipe.note == HEBREW
    assert str(hand.window.kit.carets.seen["note"]) == HEBREW[::-1]


def test_a_line_that_begins_at_the_left_stays_there(open_dome: Hand) -> None:
    hand = open_dome
    hand.click_on("search shapes")
    hand.text("ab " + HEBREW)
    assert str(hand.window.kit.carets.seen["search shapes"]) == "ab " + HEBREW[::-1]
    assert ink(hand, "search shapes").max() < 0.6


def test_a_second_search_takes_the_place_of_the_first_and_a_cross_empties_it(open_dome: Hand) -> None:
    hand = open_dome
    hand.click_on("search shapes")
    hand.text("brow")
    hand.click_on("search cells")
    hand.click_on("search shapes")
    hand.text("chin")
    assert [name for name in hand.seen if name.startswith("shape ")] == ["shape chin"]
    hand.click_on("empty search shapes")
    assert len([name for name in hand.seen if name.startswith("shape ")]) == 5
