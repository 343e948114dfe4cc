"""A real scheduler and workers of dask.distributed on this machine, for tests."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[3]
MOST_SECONDS = 60.0


@dataclass
class Cluster:
    """A scheduler whose file is `file`, and its workers' processes."""

    file: Path
    processes: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def address(self) -> str:
        return str(json.loads(self.file.read_text())["address"])

    def begin(self, *words: str, before: tuple[str, ...] = ()) -> subprocess.Popen[bytes]:
        log = self.file.with_suffix(f".{len(self.processes)}.log").open("wb")
        process = subprocess.Popen(
            [*before, sys.executable, "-m", *words], cwd=self.file.parent, stdout=log, stderr=log,
            env=os.environ | {"PYTHONPATH": str(ROOT)}, start_new_session=True,
        )  # fmt: skip
        self.processes.append(process)
        return process

    def worker(self, *, without: Path | None = None) -> subprocess.Popen[bytes]:
        """A worker of one thread; `without` a folder, which is empty for it."""
        hide = ("unshare", "-m", "sh", "-c", f'mount -t tmpfs none "{without}" && exec "$@"', "sh")
        place = self.file.parent / f"worker{len(self.processes)}"
        words = ["distributed.cli.dask_worker", self.address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
        return self.begin(*words, "--local-directory", str(place), before=hide if without is not None else ())


@contextmanager
def cluster(folder: Path) -> Iterator[Cluster]:
    """A scheduler without workers, its files in `folder`; all is killed at the end."""
    made = Cluster(folder / "scheduler.json")
    try:
        made.begin("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
                   "--scheduler-file", str(made.file))  # fmt: skip
        until(made.file.is_file, "the scheduler has not begun")
        yield made
    finally:
        for process in reversed(made.processes):
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


def until(there: Callable[[], object], otherwise: str) -> None:
    """Wait until something is so."""
    end = time.monotonic() + MOST_SECONDS
    while not there():
        assert time.monotonic() < end, otherwise
        time.sleep(0.05)


def can_hide(folder: Path) -> bool:
    """Whether this system lets a process have an empty folder in the place of another."""
    if shutil.which("unshare") is None:
        return False
    words = ["unshare", "-m", "sh", "-c", f'mount -t tmpfs none "{folder}"']
    return subprocess.run(words, capture_output=True, check=False).returncode == 0
