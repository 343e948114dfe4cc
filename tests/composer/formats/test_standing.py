"""A process that stands ready: what it answers, and that a crash, an end or an idle while costs no more than itself.

`os.abort` ends a process by SIGABRT, `os._exit` at once (Python's own documentation, "os").
"""

from __future__ import annotations

import os
import threading

import pytest

from composer.formats import standing

CODE = """
import os
from composer.formats import standing
{more}
def answer(request, tell):
    print("what is printed is no answer")
    if request == b"crash":
        os.abort()
    if request == b"raise":
        raise ValueError
    if request == b"tells":
        tell(b"one")
        tell(b"two" * 1000000)
        os.abort()
    if request == b"parent":
        return str(os.getppid()).encode()
    return request[::-1]
standing.serve(answer)
"""


def code(test: str, more: str = "") -> str:
    return f"# {test}" + CODE.format(more=more)


pytestmark = pytest.mark.skipif(not standing.CAN_FORK, reason="there is no process that stands ready on this system")


def test_each_request_is_answered_by_one_process_that_stays() -> None:
    ours = code("stays")
    long = os.urandom(2**20 + 1)
    assert standing.ask(ours, b"") == b"" and standing.ask(ours, long) == long[::-1]
    assert standing.ask(ours, b"parent") == standing.ask(ours, b"parent")


def test_a_crash_is_told_and_the_next_request_is_answered_all_the_same() -> None:
    ours = code("crashes")
    first = standing.ask(ours, b"parent")
    assert standing.ask(ours, b"crash") is None and standing.ask(ours, b"raise") is None
    assert standing.ask(ours, b"abc") == b"cba"
    assert standing.ask(ours, b"parent") == first


def test_what_is_told_early_comes_before_the_answer_and_outlives_a_crash() -> None:
    told: list[bytes] = []
    assert standing.ask(code("tells"), b"tells", told.append) is None and told == [b"one", b"two" * 1000000]
    assert standing.ask(code("tells"), b"abc", told.append) == b"cba" and len(told) == 2


def test_a_process_that_cannot_begin_is_told() -> None:
    assert standing.ask("import os; os.abort()", b"abc") is None


def test_one_that_went_for_want_of_requests_is_replaced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(standing, "_idle", {})
    gone = standing._started(code("idles", more="standing.IDLE_SECONDS = 0.0"))
    assert gone.wait() == 0
    standing._idle[code("works")] = [gone]
    assert standing.ask(code("works"), b"abc") == b"cba"
    standing._end_all()


def test_threads_that_ask_at_once_get_their_own_answers() -> None:
    ours = code("threads")
    said: dict[int, list[bytes | None]] = {}

    def ask(number: int) -> None:
        said[number] = [standing.ask(ours, b"%d/%d" % (number, i)) for i in range(20)]

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for number, answers in said.items():
        assert answers == [(b"%d/%d" % (number, i))[::-1] for i in range(20)]
