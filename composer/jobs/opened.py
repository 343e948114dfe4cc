"""A process beside a worker of a cluster: it holds a job's library open, and takes one head after another.

Run as `python -m composer.jobs.opened`. Orders come in through standard input, pickled; words and results go out
through standard output. A fork of it closes its standard input, and would wait for ever for one that is being read: it
reads another handle of the same. When its input ends, whoever asked is gone: it ends its head and itself at once.
"""

from __future__ import annotations

import os
import pickle
import threading
from multiprocessing.connection import wait
from queue import SimpleQueue
from typing import Any

from composer.jobs.errand import Order
from composer.jobs.head_process import HeadProcess, can_fork
from composer.jobs.job import Job
from composer.jobs.result import HeadResult
from composer.jobs.steps import Shared

LOOKS = 0.2
"""Seconds between two looks at a head (our choice)."""


def main() -> None:
    """Take orders until they end."""
    told, out = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what prints says it elsewhere
    orders: SimpleQueue[Order] = SimpleQueue()
    under: list[HeadProcess] = []
    threading.Thread(target=_read, args=(told, orders, under), daemon=True).start()
    shared: Shared | None = None
    opened: tuple[Job, str] | None = None
    while True:
        order = orders.get()
        os.chdir(order.folder)
        if shared is None or opened != (order.job, order.library):
            shared, opened = Shared(order.job), (order.job, order.library)
        _say(out, _taken(shared, order, under, out))


def _taken(shared: Shared, order: Order, under: list[HeadProcess], out: Any) -> HeadResult:
    if can_fork() and not _opens(shared):
        shared = Shared(order.job)  # the head's own process says what is wrong
    process = HeadProcess.begin(shared, order.head, order.library, fork=can_fork(), patience=order.patience)
    under.append(process)
    try:
        while True:
            if not wait([process.pipe], timeout=LOOKS):
                continue
            result = process.word()
            if result is not None:
                return result
            _say(out, (process.step, process.at))
    finally:
        under.remove(process)


def _opens(shared: Shared) -> bool:
    """Open the library here, so that every head's process begins with it; False where it cannot be opened."""
    try:
        return shared.fitted_library is not None
    except Exception:  # whatever it is, each head is told of it
        return False


def _say(out: Any, word: Any) -> None:
    pickle.dump(word, out)
    out.flush()


def _read(told: Any, orders: SimpleQueue[Order], under: list[HeadProcess]) -> None:
    try:
        while True:
            orders.put(pickle.load(told))
    except (EOFError, OSError, pickle.UnpicklingError):
        for process in under:
            process.process.kill()
        os._exit(1)


if __name__ == "__main__":
    main()
