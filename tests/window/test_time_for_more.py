"""When frames have time for soft shadows: made times of frames, given to the law one after the other."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from hypothesis import given
from hypothesis import strategies as st

from composer.viewer.render.time_for_more import AGAIN, KEPT, MOST_SECONDS, NEEDED, TimeForMore

LARGE, SMALL = 1_000_000, 250_000


def run(law: TimeForMore, frames: Iterable[float], pixels: int = LARGE, plain: float = 0.5) -> list[bool]:
    """What the law says after each frame; `frames` are seconds with soft shadows, without they take a share of it."""
    said = []
    for seconds in frames:
        law.took(seconds if law.on else plain * seconds, pixels)
        said.append(law.on)
    return said


def test_what_is_fast_enough_stays_and_what_is_too_slow_goes() -> None:
    assert all(run(TimeForMore(False), [0.9 * MOST_SECONDS] * 40))
    said = run(TimeForMore(False), [1.2 * MOST_SECONDS] * 40)
    assert said.index(False) == NEEDED - 1 and not any(said[NEEDED:]), "off, and it does not come back by itself"


def test_a_hiccup_changes_nothing() -> None:
    law = TimeForMore(False)
    assert all(run(law, ([0.5 * MOST_SECONDS] * KEPT + [20.0 * MOST_SECONDS]) * 6))


def test_it_comes_back_in_a_smaller_window_and_goes_again_in_a_larger_one() -> None:
    law = TimeForMore(False)
    slow = 1.5 * MOST_SECONDS
    assert not run(law, [slow] * 20)[-1]
    assert run(law, [slow * SMALL / LARGE] * 30, SMALL)[-1]
    assert not run(law, [slow] * 20)[-1]


def test_it_comes_back_where_plain_frames_have_become_faster() -> None:
    law = TimeForMore(False)
    run(law, [1.3 * MOST_SECONDS] * 20)
    assert not law.on
    assert not run(law, [1.3 * MOST_SECONDS] * 20)[-1]
    assert run(law, [0.3 * MOST_SECONDS] * 30)[-1], "another program has let go of the card"


@given(st.lists(st.floats(0.0, 1.0), min_size=60, max_size=60), st.floats(AGAIN + 0.02, 0.98))
def test_times_about_the_limit_do_not_make_it_flicker(noise: list[float], low: float) -> None:
    """Frames that take two thirds of the limit to its one and a half: off twice at most in a second or two."""
    law = TimeForMore(False)
    said = [True, *run(law, [(low + (1.5 - low) * each) * MOST_SECONDS for each in noise], plain=1.0)]
    changes = sum(one != two for one, two in zip(said, said[1:], strict=False))
    back = sum(two and not one for one, two in zip(said, said[1:], strict=False))
    assert changes <= 3 and back <= 1


def test_a_processor_has_no_time_and_another_head_is_tried_anew() -> None:
    law = TimeForMore(True)
    assert not any(run(law, [0.001] * 30))
    law.forget()
    assert not law.on
    card = TimeForMore(False)
    run(card, [2.0 * MOST_SECONDS] * 20)
    card.forget()
    assert card.on


def test_what_was_not_drawn_tells_nothing() -> None:
    law: TimeForMore = TimeForMore(False)
    told: Callable[[float, int], None] = law.took
    for _ in range(20):
        told(10.0, 0)
        told(0.0, LARGE)
    assert law.on
