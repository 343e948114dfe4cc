"""Laws of contact in a drag: what a step may take, what is shown in between, and that the end is exact."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from composer.mixing.contact import MixContact
from composer.mixing.contact_live import BUDGET_SECONDS, MOST_MADE_UP, MOST_UNKNOWN, LiveContact
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe
from tests.composer.mixing.test_contact import SHUT, contact


def steps(seconds: float, count: int) -> list[bool]:
    """Whether each of `count` steps of a drag is parted afresh, where parting takes so many `seconds`."""
    times: Iterator[float] = (time for k in range(2 * count) for time in (k * 100.0, k * 100.0 + seconds))
    live = LiveContact(contact(), lambda: next(times))
    found = []
    before = None
    for weight in np.linspace(1.0, 1.1, count):
        recipe = SHUT.with_(cells=(Cell("all", "blink", float(weight)), *SHUT.cells[1:]))
        contact().corrections(contact().mixer.pose(recipe), recipe)  # its depths are known
        now = live.corrections(contact().mixer.pose(recipe), recipe, dragged=True)
        found.append(now is not before)
        before = now
    return found


def test_a_step_that_takes_its_time_is_made_up_for_so_that_a_drag_keeps_its_budget_in_the_mean() -> None:
    assert steps(0.9 * BUDGET_SECONDS, 6) == [True] * 6
    assert steps(1.9 * BUDGET_SECONDS, 7) == [True, False] * 3 + [True]
    once = steps(40.0 * BUDGET_SECONDS, 2 * (MOST_MADE_UP + 1))  # however long one takes, the next is not far
    assert once == ([True] + [False] * MOST_MADE_UP) * 2


def test_what_is_no_drag_is_exact_at_once() -> None:
    times = (float(k) for k in range(100))  # each takes a second
    live = LiveContact(contact(), lambda: next(times))
    live.corrections(contact().mixer.pose(SHUT), SHUT, dragged=True)
    less = SHUT.with_(cells=(Cell("all", "blink", 1.0), *SHUT.cells[1:]))
    pose = contact().mixer.pose(less)
    wanted = contact().corrections(pose, less)
    stale = live.corrections(pose, less, dragged=True)
    found = live.corrections(pose, less, dragged=False)
    assert len(wanted) == len(found) > 0
    for (at, moved), (other, exact), (_, old) in zip(found, wanted, stale, strict=True):
        assert np.array_equal(at, other) and np.array_equal(moved, exact)
        assert np.abs(old - exact).max() > 1e-3


def test_a_recipe_whose_shapes_were_never_measured_is_left_to_the_end_and_a_drag_measures_them() -> None:
    fresh = MixContact(contact().mixer)
    assert fresh.unknown(SHUT) > MOST_UNKNOWN
    live = LiveContact(fresh)
    pose = fresh.mixer.pose(SHUT)
    assert live.corrections(pose, SHUT, dragged=False) == []
    before = fresh.unknown(SHUT)
    assert live.corrections(pose, SHUT, dragged=True) == [] and fresh.unknown(SHUT) == before - MOST_UNKNOWN
    assert fresh.corrections(pose, SHUT) and fresh.unknown(SHUT) == 0
    assert live.corrections(pose, SHUT, dragged=False)
    assert fresh.unknown(Recipe("rest", contact=True)) == 0


def test_a_head_with_nothing_to_part_asks_nothing_of_a_drag() -> None:
    bare = MixContact(Mixer(contact().head.with_(landmarks=None), {}))
    assert not bare.parts and not LiveContact(bare).follows and LiveContact(contact()).follows
