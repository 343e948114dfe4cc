"""The bench: its rows are what they say, whatever the times are."""

from __future__ import annotations

from importlib import import_module

import pytest

from composer.bench.registry import MEASURES, run
from composer.errors import MoueError


@pytest.mark.parametrize("name", MEASURES)
def test_every_measure_is_there(name: str) -> None:
    assert callable(import_module(f"composer.bench.{name}").rows)


def test_an_unknown_measure_is_told_with_the_nearest() -> None:
    with pytest.raises(MoueError, match="did you mean"):
        list(run(["mixing_one_sell"]))


def test_a_row_holds_its_ratio_and_its_goal() -> None:
    (row,) = run(["mixing_one_cell"])
    assert row.median > 0
    assert row.ratio == pytest.approx(row.median / row.reference_median)
    assert row.holds == (row.median <= 0.15 and row.ratio <= 1 / 300)
