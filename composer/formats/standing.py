"""A process that stands ready and answers each request in a fork of its own, which may crash without harm to anyone.

What a request needs is loaded once, not once a request: a fork begins with all that the standing process has loaded.
One that is not asked for IDLE_SECONDS goes. Only where a fork is safe and cheap (CAN_FORK): elsewhere a request takes a
process of its own, which loads everything anew.
"""

from __future__ import annotations

import atexit
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import IO

CAN_FORK = sys.platform == "linux"
IDLE_SECONDS = 20.0
CRASHED = 2**64 - 1
"""Stands for the length of an answer that never came."""
EARLY = 2**64 - 2
"""Stands before what is told before the answer."""

_idle: dict[str, list[subprocess.Popen[bytes]]] = {}
_lock = threading.Lock()


def ask(code: str, request: bytes, early: Callable[[bytes], None] = lambda _: None) -> bytes | None:
    """The answer to a request by a process that runs `code`, which calls `serve`; None where it crashes. What it tells
    before its answer goes to `early`, as it comes.

    Every thread may ask; each that asks at the same time gets a process of its own.
    """
    while (process := _taken(code)) is not None:
        try:
            answer = _exchange(process, request, early)
        except (EOFError, BrokenPipeError):  # it went for want of requests
            _end(process)
            continue
        return _kept(code, process, answer)
    process = _started(code)
    try:
        answer = _exchange(process, request, early)
    except (EOFError, BrokenPipeError):
        _end(process)
        return None
    return _kept(code, process, answer)


def serve(answer: Callable[[bytes, Callable[[bytes], None]], bytes]) -> None:
    """In the standing process: answer requests until there are no more. `answer` gets the request, and what to call
    with all that is to be told before the answer; what it prints goes nowhere."""
    import select

    out = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    requests = os.fdopen(0, "rb", buffering=0)
    while select.select([requests], [], [], IDLE_SECONDS)[0]:
        try:
            request = _receive(requests) or b""
        except EOFError:
            return
        _send(out, _forked(partial(answer, request), partial(_tell, out)))


def _forked(make: Callable[[Callable[[bytes], None]], bytes], early: Callable[[bytes], None]) -> bytes | None:
    """What `make` returns in a fork; None where it raises or crashes. What it tells before goes to `early`."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        failed = 1
        try:
            os.close(reader)
            with os.fdopen(writer, "wb") as out:
                _send(out, make(lambda data: _tell(out, data)))
            failed = 0
        finally:
            os._exit(failed)
    os.close(writer)
    data = None
    with os.fdopen(reader, "rb") as made, suppress(EOFError):  # it ends early where it crashes
        data = _answered(made, early)
    return data if os.waitpid(child, 0)[1] == 0 else None


def _taken(code: str) -> subprocess.Popen[bytes] | None:
    with _lock:
        processes = _idle.get(code)
        return processes.pop() if processes else None


def _kept(code: str, process: subprocess.Popen[bytes], answer: bytes | None) -> bytes | None:
    with _lock:
        _idle.setdefault(code, []).append(process)
    return answer


def _started(code: str) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    return subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        env=environment,
    )  # fmt: skip


def _exchange(process: subprocess.Popen[bytes], request: bytes, early: Callable[[bytes], None]) -> bytes | None:
    """Raises EOFError or BrokenPipeError where the process has gone."""
    assert process.stdin is not None and process.stdout is not None
    try:
        _send(process.stdin, request)
        return _answered(process.stdout, early)
    except (EOFError, BrokenPipeError):
        raise
    except BaseException:  # interrupted: what it would still answer is nobody's
        process.kill()
        _end(process)
        raise


def _send(out: IO[bytes], data: bytes | None) -> None:
    out.write((CRASHED if data is None else len(data)).to_bytes(8, "little") + (data or b""))
    out.flush()


def _tell(out: IO[bytes], data: bytes) -> None:
    out.write(EARLY.to_bytes(8, "little"))
    _send(out, data)


def _answered(file: IO[bytes], early: Callable[[bytes], None]) -> bytes | None:
    """The answer in a stream, all before it handed to `early`; None for a crash. Raises EOFError where none comes."""
    while (length := int.from_bytes(_exactly(file, 8), "little")) == EARLY:
        if (told := _receive(file)) is not None:
            early(told)
    return None if length == CRASHED else _exactly(file, length)


def _receive(file: IO[bytes]) -> bytes | None:
    length = int.from_bytes(_exactly(file, 8), "little")
    return None if length == CRASHED else _exactly(file, length)


def _exactly(file: IO[bytes], count: int) -> bytes:
    parts = []
    while count:
        part = file.read(min(count, 2**24))
        if not part:
            raise EOFError
        parts.append(part)
        count -= len(part)
    return b"".join(parts)


def _end(process: subprocess.Popen[bytes]) -> None:
    for pipe in (process.stdin, process.stdout):
        try:
            if pipe is not None:
                pipe.close()
        except BrokenPipeError:
            pass
    process.wait()


@atexit.register
def _end_all() -> None:
    for processes in _idle.values():
        for process in processes:
            _end(process)
    _idle.clear()
