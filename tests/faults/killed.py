"""A process that ends itself, as a loss of power does, before or after a chosen call to the file system.

`sys.setprofile` tells of every call of a function written in C, so nothing of Moue is replaced: what runs is what runs
in a person's hands. SIGKILL runs no `finally`, flushes no buffer and lets go of every lock (POSIX.1-2017, kill and
close; flock(2) for locks).
"""

from __future__ import annotations

import io
import mmap
import os
import pickle
import signal
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

IN_OS = {"open", "rename", "replace", "unlink", "remove", "mkdir", "rmdir", "chmod", "fsync", "truncate", "ftruncate",
         "utime", "link", "symlink", "write", "close", "sendfile", "copy_file_range"}  # fmt: skip
"""Functions of `os` that change what a file system holds, or may end a change."""
CHANGES = {"os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate"}
"""Events of PEP 578 that tell of the same; `os.replace` is told as a rename."""
IN_IO = {"open", "write", "writelines", "flush", "close", "truncate", "tofile"}
FILES = (io.FileIO, io.BufferedWriter, io.BufferedRandom, io.TextIOWrapper)


@dataclass(frozen=True)
class Ended:
    """How a run in a process of its own ended: what it `gave`, what it `said` where it failed, or `killed`."""

    gave: Any = None
    said: str = ""
    killed: bool = False


def apart(run: Callable[[], Any], kill_at: int | None = None, deaf: bool = True) -> Ended:
    """Run something in a forked process, killed at its `kill_at`-th point (from 0) where one is given.

    Each call to the file system has two points: before and after. `deaf`: what it prints is thrown away.
    """
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        _child(run, kill_at, write, deaf)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        told = pipe.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return Ended(killed=True)
    gave, said = pickle.loads(told)
    return Ended(gave, said)


def killed_after(run: Callable[[], Any], seconds: float) -> None:
    """Run something in a forked process and kill that, with all that it forked, from outside after so long."""
    child = os.fork()
    if child == 0:
        os.setpgid(0, 0)
        apart(run)
        os._exit(0)
    time.sleep(seconds)
    for kill in (os.killpg, os.kill):
        with suppress(ProcessLookupError):
            kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while _lives(child):  # a process that waits for the disk ends a while after it was killed
        time.sleep(0.01)


def _lives(group: int) -> bool:
    """Whether a process of a group is still there."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def sound(ended: Ended, what: str) -> Ended:
    """A run that nothing was to disturb. Raises AssertionError where something did."""
    if ended.killed or ended.said:
        raise AssertionError(f"{what}: {ended.said}")
    return ended


def points_of(run: Callable[[], Any]) -> int:
    """How many points a run has."""

    def counted() -> int:
        counter = Counter(None)
        with suppress(SystemExit):
            counter.watch(run)
        return counter.seen

    ended = apart(counted)
    if ended.said:
        raise AssertionError(ended.said)
    return int(ended.gave)


class Counter:
    """Counts points of a run, and ends the process at one of them. A process has one: its audit hook stays.

    Processes that the run forks count on together with it, and one kill ends them all, as a loss of power does.
    """

    def __init__(self, kill_at: int | None) -> None:
        self.count, self.kill_at, self.watching = mmap.mmap(-1, 8), kill_at, False

    @property
    def seen(self) -> int:
        """How many points were passed."""
        return int.from_bytes(self.count[:8], "little")

    def watch(self, run: Callable[[], Any]) -> Any:
        """Call something, watched from the first thing on that it makes, renames or removes: before that, every kill
        leaves the old. Telling of every call makes Python slow, so what is only computed is not watched."""
        sys.dont_write_bytecode = True
        sys.addaudithook(self._audited)
        try:
            return run()
        finally:
            sys.setprofile(None)

    def _audited(self, event: str, said: tuple[Any, ...]) -> None:
        if not self.watching and (event in CHANGES or (event == "open" and said[2] & os.O_CREAT)):
            self.watching = True
            sys.setprofile(self._called)

    def _called(self, frame: FrameType, event: str, called: Any) -> None:
        if event not in ("c_call", "c_return", "c_exception") or not _changes_files(called):
            return
        seen = self.seen
        if seen == self.kill_at:
            os.killpg(0, signal.SIGKILL)
        self.count[:8] = (seen + 1).to_bytes(8, "little")


def _changes_files(called: Any) -> bool:
    name, owner = getattr(called, "__name__", ""), getattr(called, "__self__", None)
    if name in IN_OS and getattr(called, "__module__", "") in ("posix", "nt"):
        return True
    return name in IN_IO and (isinstance(owner, FILES) or (name == "open" and called is open))


def _child(run: Callable[[], Any], kill_at: int | None, pipe: int, deaf: bool) -> None:
    gave, said = None, ""
    if kill_at is not None:
        os.setpgid(0, 0)
    try:
        if deaf:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            for each in (1, 2):
                os.dup2(nowhere, each)
        gave = run() if kill_at is None else Counter(kill_at).watch(run)
    except SystemExit as ended:
        said = "" if ended.code in (None, 0) else f"exit code {ended.code}"
    except BaseException:  # the parent tells it
        said = traceback.format_exc()
    with os.fdopen(pipe, "wb") as out:
        pickle.dump((gave, said), out)
    os._exit(0)


def contents(folder: Path, hidden: bool = False) -> dict[str, bytes]:
    """What a folder holds, by relative path; hidden files and what lies in hidden folders only if asked for."""
    found = {}
    for file in sorted(folder.rglob("*")):
        place = file.relative_to(folder)
        if hidden or not any(part.startswith(".") for part in place.parts):
            found[place.as_posix()] = file.read_bytes() if file.is_file() else b"/"
    return found


def leftovers(folder: Path) -> list[str]:
    """What is hidden in a folder or below it and is only there while something is written."""
    return [name for name in contents(folder, hidden=True) if ".moue-" in name]
