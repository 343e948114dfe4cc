"""A real library carried onto other people's heads of its topology: how far from what is true, and whether lids close.

The folder is named by MOUE_REAL (`bench.real_heads`); without it the rows are left out and the bench says so. A few
heads and shapes: `bench.carry_table` measures all.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from composer.bench.carry_table import MEASURES
from composer.bench.carry_truth import Carried, Truth
from composer.bench.measure import Row, middle_half, timed
from composer.bench.real_heads import real_heads
from composer.fitting.carry import WAYS, Carrier, Way

HEADS = (0, 1, 7)
"""Which of the heads: an ordinary one, one whose lids gape most by plain addition, the smallest."""
FURTHEST = 3
"""Shapes that move the skin furthest, measured beside those that close the lids."""


def rows() -> list[Row]:
    """A row a way: the time of a shape with contact beside that without; the note has the worst of each measure.
    Raises MoueError where MOUE_REAL names no such library."""
    head, heads = real_heads("carry_real")
    truth = Truth(head)
    far = sorted(head.shapes, key=lambda shape: -shape.furthest_mm)[:FURTHEST]
    names = [*dict.fromkeys([*truth.shut_by.values(), *(shape.name for shape in far)])]
    return [_row(truth, {number: heads[number] for number in HEADS}, names, way) for way in WAYS]


def _row(truth: Truth, heads: dict[int, NDArray], names: Sequence[str], way: Way) -> Row:
    times, plain = [], []
    cases: list[Carried] = []
    for number, rest in heads.items():
        carrier, free = Carrier(truth.head, rest, way), Carrier(truth.head, rest, way, contact=False)
        for name in names:
            summed = truth.summed(name, rest)
            held: list[NDArray] = []
            plain.append(timed(lambda one=summed.delta, by=free: by.carry(one)))  # type: ignore[misc]
            times.append(timed(lambda one=summed.delta, by=carrier, to=held: to.append(by.carry(one))))  # type: ignore[misc]
            cases.append(truth.measured(number, way, summed, held[0], free.carry(summed.delta)))
    ours, reference = float(np.median(times)), float(np.median(plain))
    missed = [each.name for each in MEASURES if any(each.missed(case) for case in cases)]
    worst = (f"{each.name} {max(v for case in cases if (v := each.value(case)) is not None):.2f}" for each in MEASURES)
    return Row(
        f"a real library by {way}", ours, middle_half(times), "without contact", reference, ours / reference,
        "; ".join(each.goal for each in MEASURES), not missed,
        f"{', '.join(worst)}; {len(heads)} heads, {len(names)} shapes",
    )  # fmt: skip
