"""A process for one head of a job, which talks through a pipe. Where its asker is gone it ends at its next word."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from composer.jobs.job import JobHead
from composer.jobs.one_head import run_head
from composer.jobs.result import HeadResult, State
from composer.jobs.steps import Shared


@dataclass(eq=False)
class HeadProcess:
    """A head under way in a process: the `step` that it is at, and how far that is, 0 to 1."""

    head: JobHead
    steps: tuple[str, ...]
    process: BaseProcess
    pipe: Connection
    step: str = ""
    at: float = 0.0

    @classmethod
    def begin(
        cls, shared: Shared, head: JobHead, library: str, *, fork: bool, others: Sequence[Connection] = (),
        patience: float = 0.0,
    ) -> HeadProcess:  # fmt: skip
        """Begin a process for `head`. With `fork` it has the library that is open here, and closes the pipes of
        `others`; else it opens its own."""
        ours, theirs = multiprocessing.Pipe(duplex=False)
        context: Any = multiprocessing.get_context("fork" if fork else "spawn")
        shared = shared if fork else Shared(shared.job)
        close = (ours, *others) if fork else ()
        words = (shared, head, library, theirs, close, patience)
        process = context.Process(target=_child, args=words, daemon=True)
        process.start()
        theirs.close()
        return cls(head, shared.job.steps_of(head), process, ours)

    def word(self) -> HeadResult | None:
        """What the head says next, which is waited for: None while it is under way."""
        try:
            word = self.pipe.recv()
        except (EOFError, OSError):
            self.process.join()
            return self._ended()
        if isinstance(word, HeadResult):
            self.process.join()
            return word
        self.step, self.at = word
        return None

    def stop(self) -> None:
        """End the process at once."""
        self.process.kill()
        self.process.join()
        self.pipe.close()

    def _ended(self) -> HeadResult:
        """A head whose process was ended from outside."""
        code = self.process.exitcode or 0
        named = signal.Signals(-code).name if code < 0 and -code in set(signal.Signals) else f"exit code {code}"
        why = f"its process was ended ({named}); is there enough memory? use fewer --workers, or run the job again"
        return lost(self.head, self.steps, self.step, why)


def can_fork() -> bool:
    """Whether this system can copy a process."""
    return "fork" in multiprocessing.get_all_start_methods()


def lost(head: JobHead, steps: Sequence[str], step: str, why: str) -> HeadResult:
    """A head that was given up from outside at `step`, the first where it is empty."""
    at = step or steps[0]
    before = steps.index(at)
    became: dict[str, State] = {each: "done" if i < before else "left out" for i, each in enumerate(steps)}
    became[at] = "failed"
    return HeadResult(head.name, became, {}, at, why)


def _child(
    shared: Shared, head: JobHead, library: str, pipe: Connection, others: Sequence[Connection], patience: float
) -> None:
    """A process for one head: what it says goes through `pipe`."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the asker is told, and ends its processes
    for other in others:
        other.close()
    try:
        result = run_head(shared, head, library, lambda step, at: pipe.send((step, at)), patience)
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
