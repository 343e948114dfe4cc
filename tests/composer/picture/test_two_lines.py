"""Names in two lines keep every letter, break between words, and stay apart. Where a name breaks is our choice; that an
ideograph may stand on either side of a break is Unicode Standard Annex 14, revision 51 (2023), table 1, class ID."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from composer.picture.two_lines import in_two_lines, names_in_two_lines

NAMES = st.lists(st.text("abcLR_. 12öの表", min_size=1, max_size=40), min_size=1, max_size=30, unique=True)


def room(letters: int):
    return lambda text: len(text) <= letters


@given(NAMES, st.integers(6, 24))
def test_different_names_look_different_and_each_line_fits(names: list[str], letters: int) -> None:
    shown = names_in_two_lines(names, room(letters))
    assert list(shown) == names
    assert len({"".join(lines) for lines in shown.values()}) == len(names)
    assert all(len(line) <= letters for lines in shown.values() for line in lines)
    assert all(shown[name] == (name, "") for name in names if len(name) <= letters)


@given(st.text(min_size=1, max_size=60), st.integers(1, 60))
def test_the_lines_put_together_are_the_name(name: str, letters: int) -> None:
    lines = in_two_lines(name, room(letters))
    assert lines is None or "".join(lines) == name


def test_names_break_between_their_words() -> None:
    assert in_two_lines("browOuterUp_L", room(10)) == ("browOuter", "Up_L")
    assert in_two_lines("mouth_corner_left", room(12)) == ("mouth_", "corner_left")
    assert in_two_lines("mix_0417", room(6)) == ("mix_", "0417")
    assert in_two_lines("左の口角を上げる", room(5)) == ("左の口角", "を上げる")
    assert in_two_lines("supercilious", room(8)) is None
