"""Weights over time as CSV: read as the csv module of the standard library reads them, and faults with their place."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.weight_csv import MOST_ROWS, read_weight_csv


def read(tmp_path: Path, text: str | bytes) -> list:
    path = tmp_path / "talk.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_weight_csv(path)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_columns_are_those_that_the_standard_library_reads(tmp_path: Path, ends: str, mark: str) -> None:
    rng = np.random.default_rng(5)
    times = np.cumsum(rng.uniform(0.01, 0.2, 20))
    rows = [f'{a:.17g}, {t:.9f},"{b:.3e}"' for t, a, b in zip(times, rng.random(20), rng.random(20), strict=True)]
    text = mark + ends.join(['"brow_left/joy %",time , grin', *rows, ""])
    percent, grin = read(tmp_path, text)
    table = [[float(v) for v in row] for row in list(csv.reader(text.lstrip(mark).splitlines()))[1:]]
    assert (percent.name, grin.name) == ("brow_left/joy", "grin")
    np.testing.assert_array_equal(percent.values, 0.01 * np.array(table)[:, 0])
    np.testing.assert_array_equal(grin.values, np.array(table)[:, 2])
    np.testing.assert_array_equal(grin.times, np.array(table)[:, 1])


FAULTS = {
    "a gap": ("time,a,b\n0,0,0\n1,,0\n", 3, "row 3, column 2 (a) is empty"),
    "a short row": ("time,a,b\n0,0,0\n1,0\n", 3, "row 3 has 2 values, row 1 names 3 columns"),
    "text in a number": ("time,a\n0,0\n1,0\n2,half\n", 4, "row 4, column 2 (a) is 'half', which is no number"),
    "no number": ("time,a\n0,0\n1,nan\n", 3, "row 3, column 2 (a) is 'nan'"),
    "another decimal sign": ('time,a\n0,0\n1,"0,5"\n', 3, "row 3, column 2 (a) is '0,5', with another decimal sign"),
    "another decimal sign, bare": ("time,a\n0,0\n1,0,5\n", 3, "is a decimal comma among them"),
    "semicolons": ("time;a\n0;0,5\n", 1, "semicolons between its columns"),
    "time running back": ("time,a\n0,0\n1,0\n0.5,0\n", 4, "row 4, column 1: time 0.5 does not come after 1"),
    "a time twice": ("a,time\n0,0\n1,0\n", 3, "row 3, column 2: time 0 does not come after 0"),
    "a column twice": ("time,a,b,a %\n0,0,0,0\n", 1, "'a' twice, in columns 2 and 4"),
    "no time": ("t,a\n0,0\n", 1, "has no column 'time'"),
    "no name": ("time,,b\n0,0,0\n", 1, "row 1, column 2 has no name"),
    "no weights": ("time\n0\n", 1, "only times"),
    "no rows": ("time,a\n", None, "no rows"),
    "not UTF-8": (b"time,a\n0,0\n1,\xff\n", 3, "is not a text in UTF-8"),
    "an empty file": ("", 1, "has no column 'time'"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_one_line_with_row_and_column(tmp_path: Path, name: str) -> None:
    text, line, words = FAULTS[name]
    with pytest.raises(MoueError) as error:
        read(tmp_path, text)
    said = str(error.value)
    assert words in said and len(said) <= 200 and "\n" not in said
    assert f"talk.csv:{line}: " in said if line else "talk.csv: " in said


def test_too_many_rows_are_refused_before_they_are_read(tmp_path: Path) -> None:
    with pytest.raises(MoueError, match="10,000,001 rows, more than 1,000,000"):
        read(tmp_path, b"time,a\n" + b"0,0\n" * (10 * MOST_ROWS))
