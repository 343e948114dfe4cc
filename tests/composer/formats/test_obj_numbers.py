"""Numbers out of text and into it: against Python's own float and its own formatting."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.formats.obj_digits import Tables, decimals_for, integers_text, rows_and_lengths, rows_of, word
from composer.formats.obj_numbers import BadNumber, decimals, integers, tokens

NUMBERS = st.lists(
    st.one_of(
        st.floats(allow_nan=False, allow_infinity=False).map(repr),
        st.decimals(-1000, 1000, places=6).map(str),
        st.integers(-(10**20), 10**20).map(str),
        st.sampled_from(
            ["-0", "+1.5", ".5", "-.25", "3.", "1e-3", "12E4", "0.1", "123456789.123456789", "0.30000000000000004"]
        ),
    ),
    min_size=1,
    max_size=40,
)


def chunk_of(words: list[str]) -> np.ndarray:
    return np.frombuffer((" ".join(words) + "\n").encode(), dtype=np.uint8)


@settings(deadline=None)
@given(words=NUMBERS)
def test_decimals_are_what_float_reads_to_the_bit(words: list[str]) -> None:
    chunk = chunk_of(words)
    assert decimals(chunk, *tokens(chunk)).tolist() == [float(word_) for word_ in words]


@settings(deadline=None)
@given(values=st.lists(st.integers(-(10**17), 10**17), min_size=1, max_size=40))
def test_integers_are_what_int_reads(values: list[int]) -> None:
    chunk = chunk_of([str(value) for value in values])
    assert integers(chunk, *tokens(chunk)).tolist() == values


@pytest.mark.parametrize("text", ["1_0", "0x10", "1.2.3", "--1", "-", ".", "1,5", "five", "1e", "+-2"])
def test_what_is_no_number_is_named(text: str) -> None:
    chunk = chunk_of(["1.0", text, "2.0"])
    with pytest.raises(BadNumber) as caught:
        decimals(chunk, *tokens(chunk))
    assert (caught.value.token, caught.value.text) == (1, text)


@settings(deadline=None)
@given(
    values=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40),
    places=st.integers(0, 9),
)
def test_written_numbers_are_those_of_python_within_half_a_digit(values: list[float], places: int) -> None:
    column = np.array(values)
    text = rows_of([*Tables(places).columns(column), word("\n")], len(column)).tobytes().decode()
    rows = text.splitlines()
    assert len(rows) == len(values)
    for row, value in zip(rows, values, strict=True):
        assert row[0] == " " and row.count(".") == (places > 0)
        assert len(row.partition(".")[2]) == places
        assert abs(float(row) - value) <= 0.5000001 * 10.0**-places + 1e-9 * abs(value) * 1e-6
        assert "-0" + ("." + "0" * places if places else "") != row.strip()  # no minus before zero
        assert not row.strip().lstrip("-").startswith("00")


@settings(deadline=None)
@given(values=st.lists(st.integers(0, 10**12), min_size=1, max_size=40))
def test_written_integers_are_those_of_python(values: list[int]) -> None:
    text, lengths = rows_and_lengths([*integers_text(values, Tables(0)), word("\n")], len(values))
    assert text.tobytes().decode().split() == [str(value) for value in values]
    assert lengths.tolist() == [len(str(value)) + 1 for value in values]


@given(diagonal=st.floats(1e-3, 1e5))
def test_decimals_keep_a_ten_millionth_of_the_head(diagonal: float) -> None:
    assert 0.5 * 10.0 ** -decimals_for(diagonal) <= 1.0000001e-7 * diagonal
