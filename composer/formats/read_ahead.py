"""Work on many files in order, some of them read ahead by threads."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

READERS = max(1, min(4, os.cpu_count() or 1))
"""Files that are read at once: reading is mostly numpy, which lets other threads run. Each holds one text in memory."""
Item = TypeVar("Item")
Read = TypeVar("Read")


def read_ahead(work: Callable[[Item], Read], items: Iterable[Item]) -> Generator[Read, None, None]:
    """The work on each item, in order, by READERS threads at once, none of them far ahead of what is taken. Raises what
    the work raises, in the place of its result; what was begun ends first.
    """
    with ThreadPoolExecutor(READERS) as pool:
        waiting: deque[Future[Read]] = deque()
        try:
            for item in items:
                waiting.append(pool.submit(work, item))
                if len(waiting) > READERS:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for each in waiting:
                each.cancel()
