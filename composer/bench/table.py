"""The bench in a terminal: one line a row within 80 columns, and the details of each row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from composer.errors import shorten_middle

if TYPE_CHECKING:
    from composer.bench.measure import Row

COLUMNS = 80
NAME = 38
"""Columns of a row's name; a longer name is shortened in its middle."""
HEADING = f"{'what':<{NAME}}{'median':>10}{'reference':>11}{'ratio':>10}  goal"


def table_lines(rows: Iterable[Row]) -> list[str]:
    """A heading and one line of at most 80 columns for each row.

    The columns: name, median, the reference's median, ratio of the medians, and whether the goal was met in this run.
    """
    return [HEADING, *(_line(row) for row in rows)]


def detail_lines(rows: Sequence[Row]) -> list[str]:
    """Each row's reference, spread, goal and note, wrapped to 80 columns."""
    lines: list[str] = []
    for row in rows:
        words = [f"beside {row.reference}", f"middle half {time_words(row.spread)} wide"]
        words += [f"goal {row.goal}"] if row.goal else []
        words += [row.note] if row.note else []
        lines += [row.name, *wrap("; ".join(words), COLUMNS, initial_indent="  ", subsequent_indent="  ")]
    return lines


def time_words(ms: float) -> str:
    """Milliseconds to three digits, as seconds from 1,000 on.

    >>> time_words(0.05312), time_words(41.87), time_words(10240.0)
    ('0.0531 ms', '41.9 ms', '10.2 s')
    """
    return f"{ms:.3g} ms" if ms < 999.5 else f"{ms / 1e3:.3g} s"


def ratio_words(ratio: float) -> str:
    """A ratio to three digits, or to a whole number from 1,000 to a million; below a tenth as one over a whole number.

    >>> ratio_words(12.58), ratio_words(7493.0), ratio_words(0.00127), ratio_words(2.5e8)
    ('12.6x', '7,493x', '1/787', '2.5e+08x')
    """
    if 1e-6 < ratio < 0.1:
        return f"1/{1 / ratio:.0f}"
    return f"{ratio:,.0f}x" if 999.5 <= ratio < 1e6 else f"{ratio:.3g}x"


def _line(row: Row) -> str:
    goal = "-" if not row.goal else "met" if row.holds else "MISSED"
    return (
        f"{shorten_middle(row.name, NAME - 1):<{NAME}}{time_words(row.median):>10}"
        f"{time_words(row.reference_median):>11}{ratio_words(row.ratio):>10}  {goal}"
    )
