"""What is costly to make and asked for by many tests: made once a run, for all of its workers.

`thing(name, make)` keeps what `make` returns as a file for the other workers, `folder(name, make)` a folder that `make`
fills; both are for reading only. They lie in a folder of the run's own, which goes with it, so nothing is ever older
than the code under test. Outside of a run (`python -m tests.foreign_table`) a thing is simply made.
"""

from __future__ import annotations

import os
import pickle
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TypeVar

import numpy as np

FOLDER = "MOUE_TESTS_MADE"
"""The environment variable that tells the workers of a run where its things lie."""

T = TypeVar("T")
_here: dict[str, object] = {}


def thing(name: str, make: Callable[[], T]) -> T:
    """What `make` returns: in this worker the very same each time, its arrays as writeable as they were made."""
    if name not in _here:
        _here[name] = _shared(name, make) if os.environ.get(FOLDER) else make()
    return _here[name]  # type: ignore[return-value]


def _shared(name: str, make: Callable[[], T]) -> T:
    made: list[T] = []

    def write(path: Path) -> None:
        made.append(make())
        with path.open("wb") as file:
            _Pickler(file, protocol=5).dump(made[0])

    path = _once(f"{name}.pickle", write)
    if made:
        return made[0]
    with path.open("rb") as file:
        return pickle.load(file)


def folder(name: str, make: Callable[[Path], object]) -> Path:
    """The folder that `make` was once called with, to fill it; it does not exist before."""
    if not os.environ.get(FOLDER):
        raise RuntimeError("a folder is made once a run of pytest, and there is none")
    return _once(name, make)


def _once(name: str, make: Callable[[Path], object]) -> Path:
    place = Path(os.environ[FOLDER])
    path, fresh = place / name, place / f"{name} is being made"
    while not path.exists():
        with _alone(place / f"{name} is locked") as alone:
            if alone and not path.exists():
                make(fresh)
                fresh.rename(path)
    return path


@contextmanager
def _alone(lock: Path) -> Iterator[bool]:
    try:
        lock.mkdir()
    except FileExistsError:
        time.sleep(0.1)
        yield False
        return
    try:
        yield True
    finally:
        lock.rmdir()


class _Pickler(pickle.Pickler):
    """Keeps arrays that are for reading only so."""

    def __init__(self, file: IO[bytes], protocol: int) -> None:
        super().__init__(file, protocol)
        self._held: list[np.ndarray] = []

    def reducer_override(self, value: object) -> object:
        if type(value) is np.ndarray and not value.flags.writeable and value.dtype != object:
            self._held.append(value.copy())  # held, so that no address comes back under another array
            return _read_only, (self._held[-1],)
        return NotImplemented


def _read_only(array: np.ndarray) -> np.ndarray:
    array.setflags(write=False)
    return array


def begin() -> str:
    """A new folder for the things of a run."""
    os.environ[FOLDER] = tempfile.mkdtemp(prefix="moue-tests-")
    _here.clear()
    return os.environ[FOLDER]
