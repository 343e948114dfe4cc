"""A job run: one process a head, so many at once as asked and as memory allows; a fault ends its own head alone.

Where the system can fork, each process begins with the library that was opened once. A process whose asker is gone
ends at its next word of progress.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, cast

from composer.document.inspection import inspect_folder
from composer.document.mend import write_mended
from composer.jobs.content import written
from composer.jobs.estimate import Estimate
from composer.jobs.free_memory import free_bytes
from composer.jobs.job import RECORD, Job, JobHead
from composer.jobs.one_head import run_head
from composer.jobs.plan import Planned, library_content, mend_is_done, note_mended, planned, size_of
from composer.jobs.record import read_record
from composer.jobs.result import HeadResult, State
from composer.jobs.steps import BY_NAME, Shared
from composer.progress import Progress

LOOKS = 0.3
"""Seconds between two words of progress (our choice)."""
SPARE = 0.9
"""The share of free memory that a job may take (our choice)."""


def run_job(job: Job, workers: int = 1, progress: Progress | None = None,
            told: Callable[[HeadResult], None] | None = None) -> list[HeadResult]:  # fmt: skip
    """Run a job; what became of every head, in the job's order. `told` is called with each as soon as it is done.

    The files are the same for any number of `workers`, and after any interruption. Raises MoueError where the library
    cannot be opened; a fault in one head is in its result.
    """
    say = progress or (lambda fraction, words: None)
    say(0.0, "looking at the library")
    library = library_content(job)
    shared = Shared(job)
    if "mend" in job.steps and not mend_is_done(job, library):
        _mend(job, library, say)
    rows = planned(job, library, say)
    results = {row.head.name: _unchanged(row) for row in rows if not row.to_do and row.fault is None}
    for result in results.values():
        if told is not None:
            told(result)
    to_do = [row for row in rows if row.head.name not in results]
    if to_do:
        say(0.0, "opening the library")
        run = _Run(shared, library, Estimate(size_of(shared)), workers, say, to_do)
        for result in run.results():
            results[result.name] = result
            if told is not None:
                told(result)
    return [results[head.name] for head in job.heads]


def _mend(job: Job, library: str, say: Progress) -> None:
    inspection = inspect_folder(job.library, job.neutral, job.unit, say)
    if job.mended.is_dir():
        _remove_mended(job)
    write_mended(inspection, job.mended, say)
    note_mended(job, library, written(job.mended, (job.mended,)))


def _remove_mended(job: Job) -> None:
    """Take an earlier mended copy away, where nobody has changed it; `write_mended` refuses what is left."""
    done = read_record(job.mended).get("mend")
    if done is not None and done.still_there(job.mended):
        for name in (*done.files, RECORD):
            (job.mended / name).unlink()


def _unchanged(row: Planned) -> HeadResult:
    record = read_record(row.head.folder)
    return HeadResult(row.head.name, row.states, {step: tuple(record[step].found) for step in row.states})


@dataclass
class _Under:
    """A head under way."""

    row: Planned
    process: BaseProcess
    step: str = ""
    at: float = 0.0


@dataclass
class _Run:
    """Heads that are to do, at most `workers` at once."""

    shared: Shared
    library: str
    estimate: Estimate
    workers: int
    say: Progress
    waiting_rows: Sequence[Planned]
    under: dict[Connection, _Under] = field(default_factory=dict)
    most_bytes: int = 0

    def results(self) -> Any:
        """Each result as soon as it is there."""
        waiting, done = deque(self.waiting_rows), 0
        self.free = free_bytes()
        seconds_done = 0.0
        try:
            while waiting or self.under:
                while waiting and self._room():
                    self._begin(waiting.popleft())
                for pipe in cast(list[Connection], wait(list(self.under), timeout=LOOKS)):
                    result = self._word(pipe)
                    if result is None:
                        continue
                    under = self.under.pop(pipe)
                    under.process.join()
                    seconds_done += self._all(under.row)
                    self.most_bytes = max(self.most_bytes, result.bytes)
                    self.estimate.learn(under.row.head, result.seconds)
                    done += 1
                    yield result
                left = sum(map(self._all, waiting))
                now = sum(map(self._so_far, self.under.values()))
                whole = seconds_done + left + sum(self._all(each.row) for each in self.under.values())
                self.say(min((seconds_done + now) / max(whole, 1e-9), 1.0), self._words(done))
        finally:
            for under in self.under.values():
                under.process.terminate()
            for pipe, under in self.under.items():
                under.process.join()
                pipe.close()

    def _room(self) -> bool:
        """Whether one more head may begin: within the number asked for, and the memory that was free."""
        if not self.under:
            return True
        need = self.most_bytes or self.estimate.bytes
        fits = self.free is None or (len(self.under) + 1) * need <= SPARE * self.free
        return len(self.under) < self.workers and fits

    def _begin(self, row: Planned) -> None:
        ours, theirs = multiprocessing.Pipe(duplex=False)
        forks = "fork" in multiprocessing.get_all_start_methods() and threading.active_count() == 1
        context: Any = multiprocessing.get_context("fork" if forks else "spawn")
        shared = self.shared if forks else Shared(self.shared.job)
        others = (ours, *self.under) if forks else ()
        process = context.Process(target=_child, args=(shared, row.head, self.library, theirs, others), daemon=True)
        process.start()
        theirs.close()
        self.under[ours] = _Under(row, process)

    def _word(self, pipe: Connection) -> HeadResult | None:
        """What a head says: None while it is under way."""
        under = self.under[pipe]
        try:
            word = pipe.recv()
        except (EOFError, OSError):
            under.process.join()
            return self._ended(under)
        if isinstance(word, HeadResult):
            return word
        under.step, under.at = word
        return None

    def _ended(self, under: _Under) -> HeadResult:
        """A head whose process was ended from outside."""
        code = under.process.exitcode or 0
        named = signal.Signals(-code).name if code < 0 and -code in set(signal.Signals) else f"exit code {code}"
        steps = tuple(under.row.states)
        at = under.step or steps[0]
        before = steps.index(at)
        became: dict[str, State] = {step: "done" if i < before else "left out" for i, step in enumerate(steps)}
        became[at] = "failed"
        why = f"its process was ended ({named}); is there enough memory? use fewer --workers, or run the job again"
        return HeadResult(under.row.head.name, became, {}, at, why)

    def _all(self, row: Planned) -> float:
        return sum(self.estimate.seconds(row.head, step) for step in row.to_do)

    def _so_far(self, under: _Under) -> float:
        """Seconds' worth of a head that is under way."""
        passed = 0.0
        for step in under.row.to_do:
            seconds = self.estimate.seconds(under.row.head, step)
            if step == under.step:
                return passed + under.at * seconds
            passed += seconds
        return 0.0

    def _words(self, done: int) -> str:
        now = ", ".join(f"{each.row.head.name} {BY_NAME[each.step].words}" for each in self.under.values() if each.step)
        return f"{done} of {len(self.waiting_rows)} heads" + (f"; {now}" if now else "")


def _child(shared: Shared, head: JobHead, library: str, pipe: Connection, others: Sequence[Connection]) -> None:
    """A process for one head: what it says goes through `pipe`."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the asker is told, and ends its processes
    for other in others:
        other.close()
    try:
        result = run_head(shared, head, library, lambda step, at: pipe.send((step, at)))
        pipe.send(replace(result, bytes=_most_bytes()))
    except BrokenPipeError:
        os._exit(1)
    finally:
        pipe.close()


def _most_bytes() -> int:
    """The most memory that this process has had, in bytes; 0 where the system does not say."""
    try:
        import resource
    except ImportError:
        return 0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most if sys.platform == "darwin" else 1024 * most
