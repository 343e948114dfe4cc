"""Heads of a job on the workers of a dask.distributed scheduler; a worker that is lost has its heads taken by others.

Workers that share the asker's storage work on it; to the others the files travel, and the results back. Needs the extra
`cluster`. Sources: dask.distributed, documentation (distributed.dask.org), "Client", "Resilience", "Publish events".
"""

from __future__ import annotations

import logging
import os
import secrets
import warnings
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any, cast

from composer import __version__
from composer.errors import MoueError, shorten
from composer.head.atomic import write_whole
from composer.head.folders import make_folder
from composer.head.lock import lock, unlock
from composer.head.reading import check_regular
from composer.jobs.errand import Answer, Errand
from composer.jobs.head_process import lost
from composer.jobs.job import Job
from composer.jobs.plan import Planned
from composer.jobs.result import HeadResult
from composer.jobs.steps import BY_NAME
from composer.jobs.travel import library_files, parcel, put
from composer.progress import Progress

if TYPE_CHECKING:
    from distributed import Client, Future

ANSWERS = 10.0
"""Seconds that a scheduler, and its first worker, may take to answer (our choice)."""
LOOKS = 0.5
"""Seconds between two words of progress (our choice)."""
AHEAD = 2
"""Heads that are sent for each that can be worked on at once, so that none waits for its next (our choice)."""
SENT_AT_MOST = 4
"""How often a head is sent whose workers are lost (our choice, as dask's own)."""
CHATTY = ("distributed", "tornado", "asyncio")
"""Loggers that tell at length how a lost connection is taken down, at the end of the program too."""
TOLD = 4
"""Heads that a word of progress names (our choice)."""


@dataclass
class ClusterRun:
    """Heads that are to do, on the workers of the scheduler at `address`, or in its file (.json)."""

    job: Job
    library: str
    address: str
    say: Progress
    rows: Sequence[Planned]
    under: dict[Any, Planned] = field(default_factory=dict)
    at: dict[str, str] = field(default_factory=dict)
    lay_there: dict[str, Mapping[str, str]] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    travels: bool = False
    library_sent: Any = None

    def results(self) -> Iterator[HeadResult]:
        """Each result as soon as it is there. Raises MoueError where no scheduler or no worker answers."""
        self.say(0.0, f"asking {self.address}")
        with _client(self.address) as client:
            self.token_text = secrets.token_hex(16)
            make_folder(self.job.together)
            token = Path(os.path.abspath(self.job.together)) / f".moue-{self.token_text[:8]}"
            write_whole(token, lambda file: file.write(self.token_text.encode()))
            try:
                self.token = str(token)
                yield from self._results(client)
            finally:
                token.unlink(missing_ok=True)

    def _results(self, client: Client) -> Iterator[HeadResult]:
        from composer.jobs.worker import shares

        client.subscribe_topic(self.token_text, self._hear)
        sharing = client.run(shares, self.token, self.token_text, on_error="ignore")  # one may be lost just now
        self.travels = not all(sharing.values())
        waiting, done = deque(self.rows), 0
        finished: SimpleQueue[Future] = SimpleQueue()
        while waiting or self.under:
            places = sum(client.nthreads().values())
            while waiting and len(self.under) < AHEAD * max(places, 1):
                row = waiting.popleft()
                future = self._sent(client, row)
                if isinstance(future, HeadResult):
                    yield future
                    done += 1
                    continue
                self.under[future] = row
                future.add_done_callback(finished.put)
            self.say(done / len(self.rows), self._words(done, places))
            try:
                future = finished.get(timeout=LOOKS)
            except Empty:
                continue
            row = self.under.pop(future)
            result = self._result(future, row)
            if result is None:
                waiting.appendleft(row)
                continue
            done += 1
            yield result

    def _sent(self, client: Client, row: Planned) -> Future | HeadResult:
        """A head under way to a worker, with its files where some worker needs them."""
        from composer.jobs.worker import take

        job, name = replace(self.job, heads=()), row.head.name
        errand = Errand(job, row.head, self.library, os.getcwd(), __version__, self.token, self.token_text)
        words: list[Any] = [errand]
        if self.travels:
            try:
                packed = parcel(row.head)
            except MoueError as error:
                return _given_up(row, str(error))
            self.lay_there[name] = packed.lay_there
            words += [self._library(client), packed]
        self.times[name] = self.times.get(name, 0) + 1
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # a parcel is large, and goes once
            return client.submit(take, *words, key=f"moue-{self.token_text[:8]}-{name}-{self.times[name]}", pure=False)

    def _library(self, client: Client) -> Future:
        """The library's files, which each worker that needs them gets once, and again where the one that had them is
        lost."""
        if self.library_sent is None:
            self.library_sent = client.submit(_same, library_files(self.job), pure=False)
        return self.library_sent

    def _result(self, future: Future, row: Planned) -> HeadResult | None:
        """What became of a head; None where it has to be sent again."""
        from distributed import KilledWorker

        error = None if future.cancelled() else future.exception()
        self.at.pop(row.head.name, None)
        if future.cancelled() and self.times[row.head.name] < SENT_AT_MOST:
            return None
        if future.cancelled() or isinstance(error, KilledWorker):
            return _given_up(row, "every worker that took it was lost; is there enough memory?")
        if error is not None:
            return _given_up(row, f"a worker could not take it: {type(error).__name__}: {shorten(str(error), 200)}")
        answer = cast(Answer, future.result())
        future.release()
        if answer.result is None:  # a worker that joined late, and does not share the storage
            self.travels = True
            return None
        return self._put(row, answer.result, answer)

    def _put(self, row: Planned, result: HeadResult, answer: Answer) -> HeadResult:
        """A result, and what came back with it in the head's folder."""
        lay_there = self.lay_there.pop(row.head.name, None)
        if lay_there is None or not (answer.files or answer.gone):
            return result
        try:
            make_folder(row.head.folder)
            held = lock(row.head.folder)
            try:
                put(row.head.folder, answer, lay_there)
            finally:
                unlock(held)
        except MoueError as error:
            return _given_up(row, str(error))
        return result

    def _hear(self, event: tuple[Any, Any]) -> None:
        told = event[1]
        self.at[told["head"]] = told["step"]

    def _words(self, done: int, places: int) -> str:
        under = {row.head.name for row in self.under.values()}
        now = [f"{name} {BY_NAME[step].words}" for name, step in sorted(self.at.copy().items()) if name in under]
        more = f" and {len(now) - TOLD} more" if len(now) > TOLD else ""
        where = f"; {', '.join(now[:TOLD])}{more}" if now else "" if places else "; waiting for a worker"
        return f"{done} of {len(self.rows)} heads{where}"


@contextmanager
def _client(address: str) -> Iterator[Client]:
    """A client of the scheduler, with at least one worker. Raises MoueError where there is none."""
    try:
        from distributed import Client
    except ImportError:
        hint = "install it with moue[cluster]"
        raise MoueError("a cluster needs dask.distributed, which is not installed", hint=hint) from None
    file = address if address.endswith(".json") else None
    if file is not None:
        check_regular(Path(file))
    for name in [*CHATTY, *logging.root.manager.loggerDict]:
        if name.partition(".")[0] in CHATTY:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    try:
        client = Client(None if file else address, scheduler_file=file, timeout=ANSWERS, name="moue")
    except (OSError, ValueError, TypeError, KeyError) as error:
        why = "" if isinstance(error, OSError) else f" ({shorten(str(error), 80)})"
        raise MoueError(f"no scheduler answers at {shorten(address, 80)}{why}",
                        hint="is it started, and is it the address that it printed?") from None  # fmt: skip
    try:
        try:
            client.wait_for_workers(1, timeout=ANSWERS)
        except (OSError, TimeoutError):
            hint = f"start some with: dask worker {shorten(address, 80)}"
            raise MoueError("the scheduler has no workers", hint=hint) from None
        try:
            yield client
        except (OSError, CancelledError) as error:
            if client.status == "running":
                raise
            hint = "run the job again: heads that are done stay"
            raise MoueError(f"the scheduler at {shorten(address, 80)} was lost", hint=hint) from error
    finally:
        client.close()


def _given_up(row: Planned, why: str) -> HeadResult:
    return lost(row.head, tuple(row.states), "", why)


def _same(files: Any) -> Any:
    return files
