"""One row of the bench: a time beside that of a reference, measured in turns in the same run.

On a busy machine, times taken a second apart cannot be compared. So a measure and its reference run alternately, and
the row has the median of each and the ratio of the medians.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median, quantiles

import numpy as np

SWEPT_BYTES = 64 * 2**20
"""Bytes that are written to empty the caches: twice the largest cache of our machines."""


@dataclass(frozen=True)
class Row:
    """One measured row. Times in milliseconds.

    `spread` is the width of the middle half of the times (quartile to quartile); `ratio` is `median` over
    `reference_median`; `goal` is the goal in words and `holds` whether this run met it.
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
    """Time `run` in turns with `reference_run` and compare it with the goals: at most `most_ms`, and at most
    `most_ratio` times the reference (below 1 where it must be faster).

    `run` makes `calls` calls of the measured function, and the row has the time of one. With `cold`, the caches are
    emptied before each run, as drawing a frame does.
    """
    sweep = np.zeros(SWEPT_BYTES // 8) if cold else np.zeros(0)
    times, reference_times = in_turns(
        [run, reference_run], repeats, warm, between=lambda: np.add(sweep, 1.0, out=sweep)
    )  # fmt: skip
    times = [spent / calls for spent in times]
    run_ms, reference_ms = median(times), median(reference_times)
    ratio = run_ms / reference_ms
    goals, holds = [], True
    if most_ms is not None:
        goals.append(f"<= {most_ms:g} ms")
        holds &= run_ms <= most_ms
    if most_ratio is not None:
        goals.append(f"<= {most_ratio:g}x" if most_ratio >= 0.1 else f">= {1 / most_ratio:g}x as fast")
        holds &= ratio <= most_ratio
    return Row(
        name, run_ms, middle_half(times), reference, reference_ms, ratio, ", ".join(goals), bool(holds), note
    )  # fmt: skip
