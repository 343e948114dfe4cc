"""The same work on many things, spread over the processor's cores, with progress and cancel.

Where the system can fork and nothing else runs in this process, workers are processes that share its memory. Elsewhere
(in the window, on Windows) they are threads; numpy lets them run side by side in part. Either way each worker makes its
own tools first, so that tools need not be shared.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures import wait as wait_for
from typing import Any, TypeVar

from composer.errors import MoueError
from composer.progress import Progress

Made = TypeVar("Made")
Work = Callable[[int], Any]
_LOOKS = 0.2
"""Seconds between two words of progress, at each of which the work can be cancelled (our choice)."""
_tools = threading.local()


def over_cores(
    make: Callable[[], Callable[[int], Made]], count: int, *, words: str = "", progress: Progress | None = None,
    workers: int | None = None,
) -> list[Made]:  # fmt: skip
    """What `work(i)` gives for i from 0 to `count` - 1, in order, where `work = make()` is made once a worker.

    `progress` is told "`words` 3 of 9"; where it raises, what has not begun is left, and the error goes on. An error in
    the work goes on, too. Results have to be picklable.
    Raises MoueError where a process was ended from outside.
    """
    number = min(workers or cores(), count)
    if number <= 1:
        return _one_by_one(make, count, words, progress)
    before = set(multiprocessing.active_children())
    pool = _pool(make, number)
    try:
        waiting: dict[Future[Made], int] = {pool.submit(_do, i): i for i in range(count)}
        order, left = list(waiting), set(waiting)
        while left:
            done, left = wait_for(left, timeout=_LOOKS, return_when="FIRST_COMPLETED")
            for each in done:
                each.result()
            if progress is not None:
                progress((count - len(left)) / count, f"{words} {count - len(left)} of {count}")
        return [each.result() for each in order]
    except BrokenExecutor:
        hint = "is there enough memory? close other programs"
        raise MoueError("a process that helped was ended before its work was done", hint=hint) from None
    except BaseException:  # what is under way is of no use any more
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def cores() -> int:
    """How many cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity is not None else os.cpu_count() or 1


def _one_by_one(
    make: Callable[[], Callable[[int], Made]], count: int, words: str, progress: Progress | None
) -> list[Made]:
    work, made = make(), []
    for i in range(count):
        if progress is not None:
            progress(i / count, f"{words} {i + 1} of {count}")
        made.append(work(i))
    return made


def _pool(make: Callable[[], Work], number: int) -> Executor:
    alone = threading.current_thread() is threading.main_thread() and threading.active_count() == 1
    if alone and "fork" in multiprocessing.get_all_start_methods():
        context = multiprocessing.get_context("fork")  # the parent's memory is shared until it is written to
        return ProcessPoolExecutor(number, mp_context=context, initializer=_begin_process, initargs=(make,))
    return ThreadPoolExecutor(number, initializer=_begin, initargs=(make,))


def _begin(make: Callable[[], Work]) -> None:
    _tools.work = make()


def _begin_process(make: Callable[[], Work]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is told, and stops its workers
    _begin(make)


def _do(number: int) -> Any:
    return _tools.work(number)
