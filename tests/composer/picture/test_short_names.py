"""Names that are shortened stay apart, have room, and are left alone where they fit."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from composer.picture.short_names import names_apart, shortened

NAMES = st.lists(st.text("abcLR_. 12ö", min_size=1, max_size=40), min_size=1, max_size=30, unique=True)


@given(NAMES, st.integers(8, 40))
def test_different_names_look_different_and_fit(names: list[str], room: int) -> None:
    shown = names_apart(names, lambda text: len(text) <= room)
    assert list(shown) == names
    assert len(set(shown.values())) == len(names)
    assert all(len(text) <= room for text in shown.values())
    assert all(shown[name] == name for name in names if len(name) <= room)


@given(st.text(min_size=1, max_size=60), st.integers(0, 60))
def test_one_name_keeps_its_beginning_and_its_side(name: str, room: int) -> None:
    text = shortened(name, lambda each: len(each) <= room)
    assert len(text) <= room or len(name) <= room
    head, more, end = text.partition("…") if len(name) > room and "…" not in name else (text, "", "")
    assert name.startswith(head) and name.endswith(end)


def test_the_part_by_which_names_differ_is_kept() -> None:
    names = ["mouth_corner_upper_outer_left", "mouth_corner_lower_outer_left"]
    shown = names_apart(names, lambda text: len(text) <= 14)
    assert "upper" in shown[names[0]] and "lower" in shown[names[1]]
    longer = ["browRaiseInnerLeftSide", "browRaiseOuterLeftSide", "browRaiseInnerRightSide", "browRaiseOuterRightSide"]
    apart = names_apart(longer, lambda text: len(text) <= 12)
    assert len(set(apart.values())) == 4
