"""Work on files that is done ahead: in order, never far ahead, its errors in their places."""

from __future__ import annotations

import threading

import pytest

from composer.formats.read_ahead import READERS, read_ahead


def test_results_come_in_order_and_few_are_begun_ahead() -> None:
    begun: list[int] = []
    lock = threading.Lock()

    def work(item: int) -> int:
        with lock:
            begun.append(item)
        return item * item

    taken = []
    for number, result in enumerate(read_ahead(work, range(50))):
        taken.append(result)
        assert max(begun) <= number + 2 * READERS + 1
    assert taken == [k * k for k in range(50)] and sorted(begun) == list(range(50))


def test_an_error_is_raised_in_its_place_and_what_waits_is_given_up() -> None:
    done: list[int] = []

    def work(item: int) -> int:
        done.append(item)
        if item == 5:
            raise ValueError("no")
        return item

    results = read_ahead(work, range(1000))
    assert [next(results) for _ in range(5)] == [0, 1, 2, 3, 4]
    with pytest.raises(ValueError, match="no"):
        next(results)
    assert len(done) <= 5 + 2 * READERS + 2
