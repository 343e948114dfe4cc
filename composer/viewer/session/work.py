"""Long work beside the frame loop: one thread a job, progress, cancel, and its end told in the frame loop.

A job is a function that takes a `Progress` and returns something. It runs in a thread of its own; `Work.poll`,
called once a frame, hands what came out to `done` on the frame loop's own thread, so that nothing of the window is
touched from elsewhere. Cancelling raises inside the job at its next word of progress; whatever it writes is then
left as an exception leaves it: whole or not at all.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from composer.errors import MoueError
from composer.progress import Progress


class Cancelled(Exception):
    """The person has stopped the job."""


def _nothing() -> None:
    """What a job does between its steps unless said otherwise."""


class Job:
    """One piece of long work; `fraction` in [0, 1] and `words` say how far it is; a `quiet` one is not shown, and
    closing the window asks before one that `asks` is stopped."""

    def __init__(
        self,
        name: str,
        call: Callable[[Progress], Any],
        done: Callable[[Any], None],
        failed: Callable[[str], None],
        quiet: bool = False,
        asks: bool = False,
        meanwhile: Callable[[], None] = _nothing,
        stopped: Callable[[], None] = _nothing,
    ) -> None:
        self.quiet, self.asks = quiet, asks
        self.name, self.words, self.fraction = name, name, 0.0
        self._call, self._done, self._failed = call, done, failed
        self._meanwhile, self._stopped = meanwhile, stopped
        self._stop = threading.Event()
        self._end: Callable[[], None] | None = None
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def cancel(self) -> None:
        """Stop at the next word of progress."""
        self._stop.set()
        self.words = "stopping"

    def settle(self) -> bool:
        """On the frame loop: whether the job is over, its end told once."""
        if self._thread.is_alive() or self._end is None:
            if not self._stop.is_set():
                self._meanwhile()
            return False
        self._end()
        return True

    def wait(self, seconds: float) -> None:
        """Let the job run on for so long, or to its end."""
        self._thread.join(seconds)

    def _progress(self, fraction: float, words: str) -> None:
        if self._stop.is_set():
            raise Cancelled
        self.fraction, self.words = float(fraction), words

    def _run(self) -> None:
        try:
            result = self._call(self._progress)
        except Cancelled:
            self._end = self._stopped
        except MoueError as error:
            words = str(error)
            self._end = lambda: self._failed(words)
        except MemoryError:
            self._end = lambda: self._failed(f"{self.name}: there is not enough memory")
        except Exception as error:
            words = f"{self.name}: {type(error).__name__}: {error}"
            self._end = lambda: self._failed(words)
        else:
            self._end = lambda: self._stopped() if self._stop.is_set() else self._done(result)


class Work:
    """The jobs under way, by name; a new one of a name that is running cancels the old one."""

    def __init__(self, failed: Callable[[str], None]) -> None:
        self._failed = failed
        self._jobs: dict[str, Job] = {}
        self._leaving: list[Job] = []

    def begin(
        self,
        name: str,
        call: Callable[[Progress], Any],
        done: Callable[[Any], None],
        failed: Callable[[str], None] | None = None,
        quiet: bool = False,
        asks: bool = False,
        meanwhile: Callable[[], None] = _nothing,
        stopped: Callable[[], None] = _nothing,
    ) -> Job:
        """Start a job; `done` gets what it returns, `failed` (the window's own message unless given) its one line.
        `meanwhile` is called once a frame while it is under way, `stopped` where it was cancelled, both on the frame
        loop.

        A `quiet` job is not shown; closing the window asks before one that
        `asks` is stopped.
        """
        old = self._jobs.pop(name, None)
        if old is not None:
            old.cancel()
            self._leaving.append(old)
        job = Job(name, call, done, failed or self._failed, quiet, asks, meanwhile, stopped)
        self._jobs[name] = job
        return job

    def poll(self) -> None:
        """Tell the ends of all jobs that are over."""
        self._leaving = [job for job in self._leaving if not job.settle()]
        for name, job in list(self._jobs.items()):
            if job.settle() and self._jobs.get(name) is job:
                del self._jobs[name]

    @property
    def jobs(self) -> list[Job]:
        """The jobs under way, oldest first."""
        return list(self._jobs.values())

    def cancel_all(self) -> None:
        """Tell every job to stop."""
        for job in self._jobs.values():
            job.cancel()
