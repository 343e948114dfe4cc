"""Heads of a job on this machine: one process a head, so many at once as asked and as memory allows.

Where the system can fork, each process begins with the library that was opened once.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import cast

from composer.jobs.estimate import Estimate
from composer.jobs.free_memory import free_bytes
from composer.jobs.head_process import HeadProcess, can_fork
from composer.jobs.plan import Planned
from composer.jobs.result import HeadResult
from composer.jobs.steps import BY_NAME, Shared
from composer.progress import Progress

LOOKS = 0.3
"""Seconds between two words of progress (our choice)."""
SPARE = 0.9
"""The share of free memory that a job may take (our choice)."""


@dataclass
class LocalRun:
    """Heads that are to do, at most `workers` at once."""

    shared: Shared
    library: str
    estimate: Estimate
    workers: int
    say: Progress
    waiting_rows: Sequence[Planned]
    under: dict[Connection, tuple[Planned, HeadProcess]] = field(default_factory=dict)
    most_bytes: int = 0

    def results(self) -> Iterator[HeadResult]:
        """Each result as soon as it is there."""
        waiting, done = deque(self.waiting_rows), 0
        self.free = free_bytes()
        seconds_done = 0.0
        try:
            while waiting or self.under:
                while waiting and self._room():
                    self._begin(waiting.popleft())
                for pipe in cast(list[Connection], wait(list(self.under), timeout=LOOKS)):
                    row, process = self.under[pipe]
                    result = process.word()
                    if result is None:
                        continue
                    del self.under[pipe]
                    seconds_done += self._all(row)
                    self.most_bytes = max(self.most_bytes, result.bytes)
                    self.estimate.learn(row.head, result.seconds)
                    done += 1
                    yield result
                left = sum(map(self._all, waiting))
                now = sum(self._so_far(*each) for each in self.under.values())
                whole = seconds_done + left + sum(self._all(row) for row, _ in self.under.values())
                self.say(min((seconds_done + now) / max(whole, 1e-9), 1.0), self._words(done))
        finally:
            for _, process in self.under.values():
                process.stop()

    def _room(self) -> bool:
        """Whether one more head may begin: within the number asked for, and the memory that was free."""
        if not self.under:
            return True
        need = self.most_bytes or self.estimate.bytes
        fits = self.free is None or (len(self.under) + 1) * need <= SPARE * self.free
        return len(self.under) < self.workers and fits

    def _begin(self, row: Planned) -> None:
        fork = can_fork() and threading.active_count() == 1
        process = HeadProcess.begin(self.shared, row.head, self.library, fork=fork, others=tuple(self.under))
        self.under[process.pipe] = row, process

    def _all(self, row: Planned) -> float:
        return sum(self.estimate.seconds(row.head, step) for step in row.to_do)

    def _so_far(self, row: Planned, process: HeadProcess) -> float:
        """Seconds' worth of a head that is under way."""
        passed = 0.0
        for step in row.to_do:
            seconds = self.estimate.seconds(row.head, step)
            if step == process.step:
                return passed + process.at * seconds
            passed += seconds
        return 0.0

    def _words(self, done: int) -> str:
        at_work = [process for _, process in self.under.values() if process.step]
        now = ", ".join(f"{each.head.name} {BY_NAME[each.step].words}" for each in at_work)
        return f"{done} of {len(self.waiting_rows)} heads" + (f"; {now}" if now else "")
