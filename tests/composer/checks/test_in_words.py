"""Amounts in words."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.checks.finding import Finding
from composer.checks.in_words import fraction, multiple, times


@pytest.mark.parametrize(
    ("ratio", "said"),
    [(1.26, "a quarter longer than"), (2.1, "twice as long as"), (2.5, "two and a half times as long as"),
     (4.26, "four times as long as"), (1e3, "more than ten times as long as")],
)  # fmt: skip
def test_ratios_are_said_in_words(ratio, said):
    assert times(ratio) == said


@given(st.floats(1.0, 1e9), st.floats(0.0, 1.0))
def test_no_amount_is_said_in_figures(ratio, part):
    for said in (times(ratio, "much"), fraction(part), multiple(max(ratio, 1.9))):
        assert not re.search(r"\d", said)


@given(st.floats(0.0, 1e7), st.sampled_from(["percent", "percent more", "mm", "degrees"]))
def test_no_measure_has_an_exponent_or_more_than_a_hundred_percent(value, unit):
    said = Finding("x.y", "error", "w", value=value, unit=unit).measure
    assert "e+" not in said
    assert "percent" not in said or float(said.split()[0]) <= 100.0
