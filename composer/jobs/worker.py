"""What a worker of a cluster does with one head: it has the process beside it take the head, here or on files that
came along.

Sources: dask.distributed, documentation (distributed.dask.org), "Worker", "Publish events".
"""

from __future__ import annotations

import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from distributed import get_worker

from composer import __version__
from composer.jobs.errand import Answer, Errand, Files, Order, Parcel
from composer.jobs.head_process import lost
from composer.jobs.one_thread import ONE_THREAD
from composer.jobs.result import HeadResult
from composer.jobs.travel import brought_back, moved, under, unpack

PATIENCE = 60.0
"""Seconds that a head waits for a lost worker's process to let go of its folder (our choice)."""
LOOKS = 1.0
"""Seconds between two looks whether the asker is still there (our choice)."""
ENDS = 5.0
"""Seconds that the process beside a worker has to end by itself (our choice)."""
_slots = threading.local()


def take(errand: Errand, library: Files | None = None, parcel: Parcel | None = None) -> Answer:
    """Take one head through its steps. Where this machine does not share the asker's storage, that needs the `library`
    and the head's `parcel`: without them the answer has no result."""
    if errand.version != __version__:
        why = f"the worker at {get_worker().address} has Moue {__version__}, not {errand.version}"
        return Answer(lost(errand.head, errand.job.steps_of(errand.head), "", why))
    slot: _Slot = getattr(_slots, "slot", None) or _Slot()
    _slots.slot = slot
    if shares(errand.token, errand.token_text):
        order = Order(errand.job, errand.head, errand.library, Path(errand.folder), PATIENCE)
        return Answer(slot.result(order, errand, Path(errand.token)))
    if library is None or parcel is None:
        return Answer(None)
    return slot.elsewhere(errand, library, parcel)


def shares(token: str, text: str) -> bool:
    """Whether this machine shares the storage on which the asker wrote `text` to the file `token`."""
    try:
        return Path(token).read_text(encoding="utf-8") == text
    except (OSError, UnicodeDecodeError):
        return False


@dataclass(eq=False)
class _Slot:
    """One thread of a worker, with the process beside it, and a folder for what came along."""

    process: _Beside | None = None
    root: Path | None = None
    unpacked: str = ""

    def elsewhere(self, errand: Errand, library: Files, parcel: Parcel) -> Answer:
        """Take a head on files that came along, in a folder of their own."""
        root = self._with_library(errand, library)
        job, head = moved(errand.job, root), moved(errand.head, root)
        folder = under(root, errand.folder)
        folder.mkdir(parents=True, exist_ok=True)
        own = folder / head.folder
        brought = unpack({place: held for place, held in parcel.files.items() if place not in library}, root)
        try:
            result = self.result(Order(job, head, errand.library, folder, 0.0), errand, None)
            files, gone = brought_back(own, parcel.lay_there)
        finally:
            shutil.rmtree(own, ignore_errors=True)
            for place in brought:
                place.unlink(missing_ok=True)
        return Answer(_at_home(result, root), files, gone)

    def _with_library(self, errand: Errand, library: Files) -> Path:
        """The folder, with the library in it."""
        if self.root is None or self.unpacked != errand.library:
            if self.root is not None:
                shutil.rmtree(self.root, ignore_errors=True)
            self.root = Path(tempfile.mkdtemp(prefix="moue-", dir=get_worker().local_directory))
            unpack(library, self.root)
            self.unpacked = errand.library
        return self.root

    def result(self, order: Order, errand: Errand, token: Path | None) -> HeadResult:
        """What became of a head. It is given up where the file `token` is gone."""
        process = self.process
        if process is None or not process.is_there:
            process = self.process = _Beside.begun()
        step = ""
        process.give(order)
        while True:
            word = process.word(LOOKS)
            if isinstance(word, HeadResult):
                return word
            if isinstance(word, tuple) and word[0] != step:
                step = word[0]
                get_worker().log_event(errand.token_text, {"head": errand.head.name, "step": step})
            if not process.is_there and word is None:
                return self._given_up(order, step, "the process that took it was ended; is there enough memory?")
            if token is not None and not token.exists():
                return self._given_up(order, step, "the run that asked for it has ended")

    def _given_up(self, order: Order, step: str, why: str) -> HeadResult:
        if self.process is not None:
            self.process.end()
            self.process = None
        return lost(order.head, order.job.steps_of(order.head), step, why)


@dataclass(eq=False)
class _Beside:
    """The process that holds the library open, and what it says."""

    process: subprocess.Popen[bytes]
    words: SimpleQueue[Any] = field(default_factory=SimpleQueue)

    @classmethod
    def begun(cls) -> _Beside:
        words = [sys.executable, "-m", "composer.jobs.opened"]
        environment = os.environ | ONE_THREAD
        made = cls(subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment))
        threading.Thread(target=made._listen, daemon=True).start()
        return made

    @property
    def is_there(self) -> bool:
        return self.process.poll() is None

    def give(self, order: Order) -> None:
        """Tell it what to do; where it is gone, `word` will say nothing."""
        assert self.process.stdin is not None
        with suppress(OSError):
            pickle.dump(order, self.process.stdin)
            self.process.stdin.flush()

    def word(self, seconds: float) -> Any:
        """What it says next; None where it says nothing for so long."""
        try:
            return self.words.get(timeout=seconds)
        except Empty:
            return None

    def end(self) -> None:
        """End it, with the head that it is at."""
        with suppress(OSError):
            assert self.process.stdin is not None
            self.process.stdin.close()
        try:
            self.process.wait(ENDS)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def _listen(self) -> None:
        with suppress(EOFError, OSError, pickle.UnpicklingError):
            while True:
                self.words.put(pickle.load(self.process.stdout))  # type: ignore[arg-type]


def _at_home(result: HeadResult, root: Path) -> HeadResult:
    """A result that names places on the asker's machine."""
    why = result.why and result.why.replace(f"{root}{os.sep}", os.sep)
    found = {
        step: [replace(each, words=each.words.replace(f"{root}{os.sep}", os.sep)) for each in every]
        for step, every in result.found.items()
    }
    return replace(result, why=why, found=found)
