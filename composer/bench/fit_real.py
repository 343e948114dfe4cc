"""People fitted through exact and clicked landmarks: true error beside the best of three radial bases, and time.

A row a kind of landmarks. The note has the ratio of the mean errors over the face by person, in the order of
`fit_people.COUNTS`. `python -m composer.bench.fit_table` has all of it, with earlier heads and further peers.
"""

from __future__ import annotations

from statistics import mean, median

from composer.bench.fit_people import CLICKED, COUNTS, EXACT, PEOPLE, measured
from composer.bench.measure import Row, middle_half

MEAN_RATIO = {EXACT: 0.75, CLICKED: 0.8}
MOST_RATIO = 1.0


def rows() -> list[Row]:
    """Two rows: the mean of the ratios at most .75 (exact) and .8 (clicked), and none above 1.

    Raises MoueError where MOUE_REAL names no such library.
    """
    return [_row(kind) for kind in (EXACT, CLICKED)]


def _row(kind: str) -> Row:
    fits = [[measured(number, kind, count) for count in COUNTS[kind]] for number in PEOPLE]
    every = [fit for own in fits for fit in own]
    ratios = [fit.ratios[0] for fit in every]
    times, reference = [1e3 * fit.seconds for fit in every], median(1e3 * fit.peer_seconds for fit in every)
    words = "; ".join(
        f"person {own[0].person}: " + " ".join(f"{fit.ratios[0]:.2f}" for fit in own) for own in fits
    )  # fmt: skip
    points = ", ".join(map(str, COUNTS[kind]))
    goal = MEAN_RATIO[kind]
    return Row(
        f"fit of people, {kind} landmarks", median(times), middle_half(times), "best radial basis and closest points",
        reference, median(times) / reference, f"error <= {MOST_RATIO:g}x each, {goal:g}x in the mean",
        max(ratios) <= MOST_RATIO and mean(ratios) <= goal,
        f"processor time; error over the reference's through {points} points: {words}; {mean(ratios):.2f} in the mean",
    )  # fmt: skip
