"""Weights in percent: every way in which a person writes one, and what is shown is read back as the same."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.viewer.session.percent import read_weight, weight_words


@pytest.mark.parametrize("text, weight", [
    ("60", 0.6), ("60%", 0.6), (" 60 % ", 0.6), (".6", 0.6), (",6", 0.6), ("0,6", 0.6), ("0.6", 0.6), ("1", 0.01),
    ("1.0", 1.0), ("100", 1.0), ("1.5", 1.5), ("2.5", 0.025), ("12.5", 0.125), ("12,5%", 0.125), ("-20", -0.2),
    ("-0.2", -0.2), ("+5", 0.05), ("0", 0.0), ("200", 2.0), ("-100%", -1.0), ("0.5%", 0.005),
])  # fmt: skip
def test_every_way_of_writing_a_weight(text: str, weight: float) -> None:
    assert read_weight(text) == weight


@pytest.mark.parametrize("text", ["", "much", "6 0", "60%%", "1e9", "nan", "201", "-101", "0x10", "--5", "%"])
def test_what_is_no_weight_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(MoueError) as refused:
        read_weight(text)
    assert "\n" not in str(refused.value)


@given(st.integers(-1000, 2000))
def test_what_is_shown_is_read_back(thousandths: int) -> None:
    weight = thousandths / 1000.0
    assert read_weight(weight_words(weight)) == pytest.approx(weight, abs=1e-12)


@pytest.mark.parametrize("weight, words", [(0.35, "35%"), (1.0, "100%"), (-0.2, "-20%"), (0.125, "12.5%"), (0.0, "0%"),
                                           (-0.0001, "0%"), (2.0, "200%")])  # fmt: skip
def test_weights_are_shown_in_percent(weight: float, words: str) -> None:
    assert weight_words(weight) == words
