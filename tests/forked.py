"""The command `moue` in a process of its own that is a fork of this one, so that nothing is imported anew.

Its exit code, both streams and the folder it is at work in are its own, as those of a process that a person starts;
only what importing does is not run again. Where a system cannot fork, a process is started.
"""

from __future__ import annotations

import os
import subprocess
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, NoReturn

from composer.cli.main import main

ROOT = Path(__file__).resolve().parent.parent
BROKEN = 70
"""The exit code of a child that ends by a fault of its own, as a traceback tells on its standard error."""


def moue(*words: object) -> subprocess.CompletedProcess[str]:
    """What `moue` with these words says and ends with, begun in the root of the repository."""
    given = [str(word) for word in words]
    if not hasattr(os, "fork"):
        return subprocess.run([sys.executable, "-m", "composer", *given], capture_output=True, text=True, cwd=ROOT)
    with TemporaryFile() as out, TemporaryFile() as error:
        child = fork(lambda: _command(given, out, error))
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        said = []
        for stream in (out, error):
            stream.seek(0)
            said.append(stream.read().decode())
    return subprocess.CompletedProcess(given, code, *said)


def fork(work: Callable[[], None]) -> int:
    """The number of a child that does this and ends; nothing that this process has begun ends with it."""
    child = os.fork()
    return child or _ended(work)


def _ended(work: Callable[[], None]) -> NoReturn:
    code = BROKEN
    try:
        work()
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:
        traceback.print_exc()
    finally:
        try:
            sys.stdout.flush()
            sys.stderr.flush()
        finally:
            os._exit(code)


def _command(words: list[str], out: IO[bytes], error: IO[bytes]) -> None:
    os.dup2(out.fileno(), 1)
    os.dup2(error.fileno(), 2)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
    sys.stdout, sys.stderr = (os.fdopen(number, "w", encoding="utf-8", closefd=False) for number in (1, 2))
    os.chdir(ROOT)
    main(words)
