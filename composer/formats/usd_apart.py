"""Binary USD files, read in a separate process that may crash without harm to Moue.

USD's reader of its binary form (crate) trusts the sizes in a file: one damaged byte can make it ask for all of the
machine's memory or crash. So it runs in a separate process, with its memory limited where the system allows that and
its output silenced, and sends back the mesh or the error line. Where the system can, that is a fork of a process that
stands ready with USD loaded, in a fraction of the time (`standing.py`). USD text that refers to no other file is read
in Moue's own process, which is faster: the text parser does not have that fault.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from composer.errors import MoueError
from composer.formats import standing
from composer.formats.arrival import UNSEEN, Arrival
from composer.formats.mesh import Mesh
from composer.formats.usd_points import PointsPart
from composer.formats.weight_track import WeightTrack
from composer.head.reading import open_regular, reading
from composer.head.references import allow_outside, may_refer_outside

TEXT, BINARY, PACKAGE = b"#usda ", b"PXR-USDC", b"PK\x03\x04"
BLOCK = 2**20
AT_LEAST, TIMES = 8 * 2**30, 64
"""Limit of the process's address space: this many bytes, plus this many times the file's size (our choice)."""
TRUSTED = "allow-outside"
"""The process's argument where the user allows the file to refer to files outside its folder."""
MESH, TOLD, WEIGHTS = "mesh", "mesh, the neutral told first", "weights"
POINTS, BESIDE = "points", "binary"
"""What is asked for: the process's last argument. Behind POINTS stand the number of a frame and bytes, behind BESIDE a
path."""
CHILD = "from composer.formats.usd_apart import child; child()"
STANDING = "from composer.formats.usd_apart import stand; stand()"


@dataclass(frozen=True)
class Wrong:
    """What an error said: its words, its place, its line and its hint."""

    said: tuple[Any, ...]


def is_text(path: Path) -> bool:
    """Whether `path` is USD text, whatever it is called. Raises MoueError where it cannot be read."""
    with reading(path), open_regular(path) as file:
        return file.read(len(TEXT)) == TEXT


def alone(path: Path) -> bool:
    """Whether `path` is USD text that refers to no other file. Raises MoueError where it is not USD, or cut short."""
    with reading(path), open_regular(path) as file:
        start = file.read(24)
        if not start:
            raise MoueError("is empty", path)
        if start.startswith(TEXT):
            return b"@" not in start and not any(b"@" in block for block in iter(lambda: file.read(BLOCK), b""))
        size = os.fstat(file.fileno()).st_size
    if start.startswith(BINARY):
        contents = int(np.frombuffer(start[16:24].ljust(8, b"\0"), "<i8")[0])
        if not 24 <= contents < size - 8:
            raise MoueError("ends before its table of contents", path, hint="the file is cut short")
    elif start.startswith(PACKAGE):
        if not zipfile.is_zipfile(path):
            raise MoueError("is not a complete USD package", path, hint="the file is cut short")
    else:
        raise MoueError("is neither USD text nor binary USD nor a USD package", path, hint="is it a USD file?")
    return False


def read_apart(path: Path, told: Arrival = UNSEEN) -> Mesh:
    """The mesh in `path`, read by a separate process, the neutral `told` first where that is a fork. Raises MoueError
    where the process reports an error or crashes."""
    found: Mesh = _apart(path, MESH if told is UNSEEN else TOLD, lambda data: told.neutral(pickle.loads(data)))
    return found


def weights_apart(path: Path) -> list[WeightTrack]:
    """The weights over time in `path`, read in the same way."""
    found: list[WeightTrack] = _apart(path, WEIGHTS)
    return found


def points_apart(path: Path, first: int, most: int) -> PointsPart:
    """A part of at most `most` bytes of the frames in `path`, from number `first` on, read in the same way."""
    found: PointsPart = _apart(path, f"{POINTS} {first} {most}")
    return found


def binary_apart(path: Path, target: Path) -> None:
    """Write the stage at `path` to `target` as one binary file, in the same way."""
    _apart(path, f"{BESIDE} {target}")


def _apart(path: Path, what: str, early: Callable[[bytes], None] = lambda _: None) -> Any:
    trusted = TRUSTED if may_refer_outside(path) else ""
    if standing.CAN_FORK:
        answer = standing.ask(STANDING, pickle.dumps((os.getcwd(), str(path), trusted, what)), early)
    else:
        answer = _in_a_process_of_its_own(path, trusted, what)
    if answer is None:
        raise MoueError("is damaged: USD's own reader crashes on it", path, hint="export it again")
    result = pickle.loads(answer)  # from our own code
    if isinstance(result, Wrong):
        raise MoueError(*result.said)
    return result


def _in_a_process_of_its_own(path: Path, trusted: str, what: str) -> bytes | None:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path)), "PXR_WORK_THREAD_LIMIT": "1"}
    run = subprocess.run(
        [sys.executable, "-c", CHILD, str(path), trusted, what],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment, check=False,
    )  # fmt: skip
    return run.stdout if run.returncode == 0 else None


def child() -> None:
    """The separate process: reads the file in its arguments, and writes a pickle to standard output."""
    answer = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    with answer:
        answer.write(_answer(Path(sys.argv[1]), sys.argv[2], sys.argv[3], lambda _: None))


def stand() -> None:
    """The standing process: loads USD's reader once, and reads each file that it is asked for in a fork."""
    os.environ["PXR_WORK_THREAD_LIMIT"] = "1"  # a fork has only the thread that asked for it
    from pxr import Usd

    from composer.formats import usd_points, usd_read, usd_weights  # noqa: F401

    Usd.Stage.CreateInMemory()  # loads what USD knows of its schemas

    def answer(request: bytes, tell: Callable[[bytes], None]) -> bytes:
        folder, path, trusted, what = pickle.loads(request)
        os.chdir(folder)
        return _answer(Path(path), trusted, what, tell)

    standing.serve(answer)


def _answer(path: Path, trusted: str, what: str, tell: Callable[[bytes], None]) -> bytes:
    """A pickle of what is asked for, or of what is `Wrong` with the file; `tell` gets one of the neutral."""
    if trusted == TRUSTED:
        allow_outside(path)
    _bound_memory(path)
    from composer.formats.usd_points import read_stage_points, write_binary
    from composer.formats.usd_read import read_stage
    from composer.formats.usd_weights import read_stage_weights

    result: Mesh | list[WeightTrack] | PointsPart | None | Wrong
    kind, _, more = what.partition(" ")
    try:
        with reading(path, "USD"):
            if what == WEIGHTS:
                result = read_stage_weights(path)
            elif kind == POINTS:
                result = read_stage_points(path, *map(int, more.split()))
            elif kind == BESIDE:
                write_binary(path, Path(more))
                result = None
            else:
                seen = Arrival(lambda mesh: tell(pickle.dumps(mesh, protocol=5))) if what == TOLD else UNSEEN
                result = read_stage(path, seen)
    except MoueError as error:
        result = Wrong((error.what, error.where, error.line, error.hint))
    return pickle.dumps(result, protocol=5)


def _bound_memory(path: Path) -> None:
    try:
        import resource
    except ImportError:  # a system that cannot: it swaps instead
        return
    most = AT_LEAST + TIMES * path.stat().st_size
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))
