"""The whole table of a real library carried: every shape onto every head all three ways, a line a head and way.

`python -m composer.bench.carry_table --workers 16 --json FILE` measures all of it; `--heads` and `--shapes` some. Each
line has the worst shape of each measure of `bench.carry_truth`, then come the cases beyond a goal.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.bench.carry_truth import Carried, Truth
from composer.bench.real_heads import real_heads
from composer.fitting.carry import WAYS, Carrier

BLINK_ERROR, OTHER_ERROR = 0.2, 0.1
MOST_GAP_MM, MOST_LIPS_MM, MOST_FURTHER = 0.2, 0.2, 1.5
AT_ONCE = 12
"""Shapes that one worker carries onto one head before it takes the next."""


@dataclass(frozen=True)
class Measure:
    """One measure of the table: how it is called, its goal in words, its value (None where a case has none), and the
    most that it may be."""

    name: str
    goal: str
    value: Callable[[Carried], float | None]
    most: float

    def missed(self, case: Carried) -> bool:
        """Whether a case is beyond the goal."""
        value = self.value(case)
        return value is not None and value > self.most + 1e-6


MEASURES = (
    Measure("blink errs", f"blink errs <= {BLINK_ERROR:g}",
            lambda case: case.error if case.gap_mm is not None else None, BLINK_ERROR),
    Measure("others err", f"others <= {OTHER_ERROR:g}",
            lambda case: case.error if case.gap_mm is None else None, OTHER_ERROR),
    Measure("lids wider mm", f"lids <= {MOST_GAP_MM:g} mm wider than its own", lambda case: case.gap_mm, MOST_GAP_MM),
    Measure("lips deeper mm", f"lips <= {MOST_LIPS_MM:g} mm deeper", lambda case: case.lips_mm, MOST_LIPS_MM),
    Measure("faces more", "no more crossing faces than the sum", lambda case: case.faces - case.faces_sum, 0.0),
    Measure("faces more than own", "nor than the library adds",
            lambda case: case.faces - max(case.faces_sum, case.faces_own), 0.0),
    Measure("times as far", f"<= {MOST_FURTHER:g} times as far", lambda case: case.further, MOST_FURTHER),
)  # fmt: skip


def measured(truth: Truth, rest: NDArray, number: int, names: Iterable[str]) -> Iterator[Carried]:
    """The shapes `names` carried all three ways onto the neutral `rest` (n, 3) mm, the head of this `number`."""
    carriers = {way: Carrier(truth.head, rest, way) for way in WAYS}
    for name in names:
        summed = truth.summed(name, rest)
        delta = summed.delta
        for way, carrier in carriers.items():
            plain = np.zeros_like(delta)
            plain[carrier.skin] = carrier.carry_skin(delta[carrier.skin])
            yield truth.measured(number, way, summed, carrier.carry(delta), plain)


def table(cases: Sequence[Carried]) -> Iterator[str]:
    """The lines of the table: one a head and way, then one a case that is beyond a goal, by measure, worst first."""
    yield "head way       " + "".join(f"{each.name:<32}" for each in MEASURES) + "faces, sum"
    for number, way in sorted({(case.head, case.way) for case in cases}):
        own = [case for case in cases if (case.head, case.way) == (number, way)]
        cells = "".join(f"{_worst(own, each):<32}" for each in MEASURES)
        yield f"{number:<5}{way:<10}{cells}{sum(c.faces for c in own)}, {sum(c.faces_sum for c in own)}"
    for each in MEASURES:
        missed = sorted((case for case in cases if each.missed(case)), key=lambda case: -(each.value(case) or 0.0))
        asked = sum(each.value(case) is not None for case in cases)
        yield f"{each.name}: {len(missed)} of {asked} beyond the goal"
        for case in missed:
            yield f"  {each.value(case):.3f}  head {case.head} {case.way} {case.shape}"


def _worst(cases: Sequence[Carried], measure: Measure) -> str:
    valued = [(value, case.shape) for case in cases if (value := measure.value(case)) is not None]
    value, shape = max(valued, default=(0.0, "none"))
    return f"{value:.3f} {shape}"


_truth: tuple[Truth, NDArray] | None = None
"""A worker's own library, read once."""


def _start() -> None:
    global _truth
    head, heads = real_heads("carry_table")
    _truth = Truth(head), heads


def _job(number: int, names: Sequence[str]) -> list[Carried]:
    assert _truth is not None
    return list(measured(_truth[0], _truth[1][number], number, names))


def main() -> None:
    """Measure what the command line says and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--heads", type=int, nargs="*", help="numbers of the heads, from 0; all of them otherwise")
    parser.add_argument("--shapes", nargs="*", help="names of shapes; all of them otherwise")
    parser.add_argument("--workers", type=int, default=1, help="processes that measure at once")
    parser.add_argument("--json", type=Path, help="also write every case to this file")
    asked = parser.parse_args()
    head, heads = real_heads("carry_table")
    names = list(asked.shapes or head.shape_names)
    numbers = asked.heads if asked.heads is not None else range(len(heads))
    jobs = [(number, names[i : i + AT_ONCE]) for number in numbers for i in range(0, len(names), AT_ONCE)]
    cases: list[Carried] = []
    with ProcessPoolExecutor(asked.workers, initializer=_start) as pool:
        for done, found in enumerate(pool.map(_job, *zip(*jobs, strict=True)), start=1):
            cases += found
            sys.stdout.write(f"{done} of {len(jobs)}\n")
            sys.stdout.flush()
            if asked.json is not None:
                asked.json.write_text(json.dumps([asdict(case) for case in cases], indent=0))
    sys.stdout.write("\n".join(table(cases)) + "\n")


if __name__ == "__main__":
    main()
