"""Ground taken from neighbours: the region gets what was painted, locks hold, the rest keeps its shares."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from composer.errors import MoueError
from masks.partition import share
from masks.take import take

N = 6
UNIT = st.floats(0.0, 1.0)
OWN = arrays(np.float64, N, elements=UNIT)
OTHERS = st.integers(1, 4).flatmap(
    lambda r: st.tuples(arrays(np.float64, (r, N), elements=UNIT), st.lists(st.booleans(), min_size=r, max_size=r))
)


@given(OWN, OTHERS)
def test_the_region_gets_what_was_painted_but_for_what_is_locked(own: np.ndarray, rest: tuple) -> None:
    others, locked = rest
    given_up = take(own, others, locked)
    shared = share(np.vstack([own, given_up]), [False, *locked])
    room = 1.0 - np.minimum(others[np.array(locked)].sum(axis=0), 1.0)
    np.testing.assert_allclose(shared[0], np.minimum(own, room), atol=1e-12)


@given(OWN, OTHERS)
def test_nobody_gains_locks_hold_and_the_others_keep_their_ratios(own: np.ndarray, rest: tuple) -> None:
    others, locked = rest
    given_up, held = take(own, others, locked), np.array(locked)
    assert (given_up <= others + 1e-15).all()
    np.testing.assert_array_equal(given_up[held], others[held])
    np.testing.assert_array_equal(given_up[:, own == 0.0], others[:, own == 0.0])
    free, before = given_up[~held], others[~held]
    np.testing.assert_allclose(free * before.sum(axis=0), before * free.sum(axis=0), atol=1e-12)


@given(OWN, OTHERS)
def test_taking_twice_takes_no_more(own: np.ndarray, rest: tuple) -> None:
    others, locked = rest
    once = take(own, others, locked)
    np.testing.assert_allclose(take(own, once, locked), once, atol=1e-12)


@given(OWN, OTHERS, arrays(np.bool_, N))
def test_nothing_changes_where_nothing_is_asked(own: np.ndarray, rest: tuple, over: np.ndarray) -> None:
    others, locked = rest
    given_up = take(own, others, locked, over)
    np.testing.assert_array_equal(given_up[:, ~over], others[:, ~over])
    np.testing.assert_array_equal(given_up[:, over], take(own, others, locked)[:, over])


def test_flags_that_do_not_fit_are_refused() -> None:
    with pytest.raises(MoueError, match="locks"):
        take(np.ones(3), [np.ones(3)], [])
