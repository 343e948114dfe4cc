"""Vertices of a text STL read many at once are what Python's own `float` reads, or left to the slow way."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.stl import read
from composer.formats.stl_rows import plain_rows

FORMS = ("%e", "%.9e", "%.15e", "%E", "%.6f", "%+.3f", "%d")


def lines(values: np.ndarray, form: str, end: str = "\n") -> bytes:
    rows = [end.join(["facet normal 0 0 1", "outer loop",
                      *("  vertex " + " ".join(form % number for number in row) for row in three),
                      "endloop", "endfacet"]) for three in values.reshape(-1, 3, 3)]  # fmt: skip
    return (end.join(rows) + end).encode()


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("form", FORMS)
def test_numbers_are_those_that_float_reads(form: str, end: str) -> None:
    """Bit by bit; the oracle is CPython's `float`, correctly rounded (David Gay's dtoa)."""
    rng = np.random.default_rng(7)
    values = rng.normal(size=(60, 3)) * 10.0 ** rng.integers(-4, 5, size=(60, 3))
    found = plain_rows(lines(values, form, end))
    if form == "%.15e":  # sixteen digits are more than a float holds exactly
        assert found is None
        return
    expected = np.array([[float(form % number) for number in row] for row in values])
    assert found is not None
    np.testing.assert_array_equal(found.view(np.int64), expected.view(np.int64))


@pytest.mark.parametrize("vertex", [
    b"vertex  1 2 3", b"vertex 1 2 3 ", b"vertex 1 2", b"vertex 1 2 3 4", b"vertex 1\n2 3", b"vertex 1e+00 2 3",
    b"vertex 1.0e+00 2.00e+00 3.0e+00", b"facet vertex 1 2 3", b"vertices 1 2 3", b"vertex 1.5e+99 2.5e+00 3.5e+00",
    b"vertex 1.xe+00 2.5e+00 3.5e+00", b"vertex 1,5e+00 2.5e+00 3.5e+00",
])  # fmt: skip
def test_what_is_written_otherwise_is_left_to_the_slow_way(vertex: bytes) -> None:
    assert plain_rows(b"outer loop\n" + vertex + b"\nendloop\n") is None


def test_a_word_for_a_number_is_told_with_its_line(tmp_path: Path) -> None:
    text = b"solid tide\n" + lines(np.arange(18.0).reshape(6, 3), "%.2f").replace(b" 13.00 ", b" 13.x0 ")
    path = tmp_path / "tide.stl"
    path.write_bytes(text)
    with pytest.raises(MoueError, match="three numbers") as caught:
        read(path)
    assert f":{text[: text.index(b'13.x0')].count(10) + 1}:" in str(caught.value)
