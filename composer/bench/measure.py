"""One row of the bench: a time beside a reference's, both taken in the same run, in turns.

On a machine that others use, two times taken a second apart are not comparable. So a measure and its reference are
run alternately, and what is reported is the median of each and the ratio of the medians.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median, quantiles

import numpy as np

SWEPT_BYTES = 64 * 2**20
"""What is written to empty the caches: twice the largest cache of the machines at hand."""


@dataclass(frozen=True)
class Row:
    """One measured row. Times in milliseconds.

    `spread` is the width of the middle half of the times (quartile to quartile); `ratio` is median over
    `reference_median`; `goal` says in words what is to be reached and `holds` whether it was, in this run.
    """

    name: str
    median: float
    spread: float
    reference: str
    reference_median: float
    ratio: float
    goal: str
    holds: bool
    note: str = ""


def timed(run: Callable[[], object]) -> float:
    """Milliseconds of one call."""
    begin = time.perf_counter()
    run()
    return 1e3 * (time.perf_counter() - begin)


def in_turns(
    runs: list[Callable[[], object]], repeats: int, warm: int = 2, between: Callable[[], object] | None = None
) -> list[list[float]]:
    """Milliseconds of each of the `runs`, called one after the other, `repeats` times after `warm` rounds.

    `between` is called before each of them and not timed.
    """
    times: list[list[float]] = [[] for _ in runs]
    for number in range(warm + repeats):
        for run, taken in zip(runs, times, strict=True):
            if between is not None:
                between()
            spent = timed(run)
            if number >= warm:
                taken.append(spent)
    return times


def middle_half(times: list[float]) -> float:
    """Width between the first and the third quartile of at least two times."""
    first, _, third = quantiles(times, n=4)
    return third - first


def measure(
    name: str,
    run: Callable[[], object],
    reference: str,
    reference_run: Callable[[], object],
    *,
    repeats: int = 30,
    warm: int = 2,
    calls: int = 1,
    cold: bool = False,
    most_ms: float | None = None,
    most_ratio: float | None = None,
    note: str = "",
) -> Row:
    """Time `run` in turns with `reference_run` and hold it against the goals: at most `most_ms`, and at most
    `most_ratio` times the reference (a fraction, where it is to be that much faster).

    `run` does `calls` of what is measured, and the row tells the time of one. With `cold`, both begin with caches
    full of something else, as after a frame has been drawn.
    """
    sweep = np.zeros(SWEPT_BYTES // 8) if cold else np.zeros(0)
    times, theirs = in_turns([run, reference_run], repeats, warm, between=lambda: np.add(sweep, 1.0, out=sweep))
    times = [spent / calls for spent in times]
    ours_ms, reference_ms = median(times), median(theirs)
    ratio = ours_ms / reference_ms
    goals, holds = [], True
    if most_ms is not None:
        goals.append(f"<= {most_ms:g} ms")
        holds &= ours_ms <= most_ms
    if most_ratio is not None:
        goals.append(f"<= {most_ratio:g}x" if most_ratio >= 0.1 else f">= {1 / most_ratio:g}x as fast")
        holds &= ratio <= most_ratio
    return Row(
        name, ours_ms, middle_half(times), reference, reference_ms, ratio, ", ".join(goals), bool(holds), note
    )  # fmt: skip
