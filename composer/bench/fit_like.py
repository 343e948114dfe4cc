"""People fitted with heads that were fitted before, beside the same fit without: true error over the face, and time.

A row with all twelve earlier heads, and one with one, two and four of them.
"""

from __future__ import annotations

from statistics import mean, median

from composer.bench.fit_people import CLICKED, EXACT, PEOPLE, Fit, library, measured
from composer.bench.measure import Row, middle_half

CASES = tuple((kind, count) for kind in (EXACT, CLICKED) for count in (8, 16, 30))
FEW = (1, 2, 4)
FEW_CASES = ((CLICKED, 8), (CLICKED, 16))
MEAN_RATIO, MOST_ALL, MOST_FEW = 0.85, 1.0, 1.05


def rows() -> list[Row]:
    """Two rows: with all heads at most .85 in the mean and never above 1; with few never above 1.05.

    Raises MoueError where MOUE_REAL names no such library.
    """
    every = len(library()[1])
    return [
        _row(f"fit with {every} earlier heads", (every,), CASES, MEAN_RATIO, MOST_ALL),
        _row("fit with 1, 2, 4 earlier heads", FEW, FEW_CASES, None, MOST_FEW),
    ]


def _row(
    name: str, numbers: tuple[int, ...], cases: tuple[tuple[str, int], ...], most_mean: float | None, most: float
) -> Row:  # fmt: skip
    pairs: list[tuple[Fit, Fit]] = [
        (measured(one, kind, count, tuple(range(number))), measured(one, kind, count))
        for number in numbers for one in PEOPLE for kind, count in cases
    ]  # fmt: skip
    ratios = [fit.face_mm / none.face_mm for fit, none in pairs]
    times, reference = [1e3 * fit.seconds for fit, _ in pairs], median(1e3 * none.seconds for _, none in pairs)
    goal = f"error <= {most:g}x each" + ("" if most_mean is None else f", {most_mean:g}x in the mean")
    holds = max(ratios) <= most and (most_mean is None or mean(ratios) <= most_mean)
    note = f"processor time; {len(ratios)} fits; error over that without: {mean(ratios):.2f}, worst {max(ratios):.2f}"
    return Row(
        name, median(times), middle_half(times), "the fit without", reference, median(times) / reference, goal, holds,
        note,
    )  # fmt: skip
