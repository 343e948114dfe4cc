"""Names from right to left come out in the order and the forms that Unicode asks for."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.picture.letter_order import Drawn, as_drawn

LATIN = st.text(st.characters(codec="latin-1", categories=("L", "N", "P", "Z")), max_size=20)
HEBREW = st.text("אבגדהוזחטיכלמנ", min_size=1, max_size=20)
MIXED = st.text("abאבגسلام12٣_-. ()", max_size=20)


@given(LATIN)
def test_what_runs_from_the_left_is_left_alone(text: str) -> None:
    assert as_drawn(text) == text


@given(HEBREW)
def test_letters_from_the_right_are_turned_round(text: str) -> None:
    assert as_drawn(text) == text[::-1]


@given(MIXED)
def test_no_letter_is_lost_and_what_is_drawn_is_not_turned_again(text: str) -> None:
    drawn = as_drawn(text)
    if isinstance(drawn, Drawn):
        assert as_drawn(drawn) is drawn
    flat = unicodedata.normalize("NFKC", drawn).translate(str.maketrans(")", "("))
    assert sorted(flat) == sorted(text.translate(str.maketrans(")", "(")))


@pytest.mark.parametrize(("text", "drawn"), [
    # Unicode Standard Annex 9, section 3.3: numbers keep their order, an English word within keeps its own, and
    # brackets turn with the run they stand in (capital letters of its examples written in Hebrew here).
    ("car אבג", "car גבא"),
    ("אבג 12 דה", "הד 12 גבא"),
    ("אב (גד)", "(דג) בא"),
    ("mouth_שמאל", "mouth_לאמש"),
    ("אבג abc דהו", "והד abc גבא"),
])  # fmt: skip
def test_examples_of_the_standard(text: str, drawn: str) -> None:
    assert as_drawn(text) == drawn


@pytest.mark.parametrize(("word", "forms"), [
    # The Unicode Standard 15.1, section 9.2 (table 9-9) and the code charts U+FE70 to U+FEFF.
    ("بسم", "\ufe91\ufeb4\ufee2"),  # beh initial, seen medial, meem final
    ("ورد", "\ufeed\ufead\ufea9"),  # none of these joins what follows: all isolated
    ("سلام", "\ufeb3\ufefc\ufee1"),  # seen initial, lam-alef final, meem isolated
])  # fmt: skip
def test_arabic_letters_join(word: str, forms: str) -> None:
    assert as_drawn(word) == forms[::-1]
