"""Damaged files by the thousand for every reader: each is read, or refused in one line.

`python -m tests.faults.fuzz_campaign [READER ...] [--count N] [--seed N] [--workers N] [--keep DIR]` mutates a sample
of each kind up to eight times over, prints a line a reader, and keeps what escaped, cut down while it still escapes.
Exit code 1 where anything did.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from composer.errors import MoueError
from tests.faults.test_faults_damage import APART, READERS, is_one_line, mutated, sample


def escapes(kind: str, path: Path, data: bytes) -> str:
    """What escaped when these bytes were read; "" where they were read or refused in one line."""
    path.write_bytes(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            READERS[kind](path)
    except MoueError as error:
        return "" if is_one_line(str(error)) else f"a line of {len(str(error))} signs"
    except Exception as error:
        return f"{type(error).__name__}: {error!s:.80}"
    return ""


def smallest(kind: str, path: Path, data: bytes, rounds: int = 400) -> bytes:
    """The bytes without pieces that do not matter for the same kind of escape."""
    told = escapes(kind, path, data).partition(":")[0]
    size = max(1, len(data) // 2)
    while size and rounds:
        at = 0
        while at < len(data) and rounds:
            rounds -= 1
            shorter = data[:at] + data[at + size :]
            if shorter and escapes(kind, path, shorter).partition(":")[0] == told:
                data = shorter
            else:
                at += size
        size //= 2
    return data


@dataclass
class Tried:
    """What a reader's inputs came to: how many, and what escaped, with the first input of each kind."""

    kind: str
    count: int = 0
    found: dict[str, bytes] = field(default_factory=dict)

    def more(self, other: Tried) -> None:
        """Take another part's in."""
        self.count += other.count
        self.found = {**other.found, **self.found}


def tried(kind: str, count: int, seed: Sequence[int]) -> Tried:
    """Mutate a sample up to eight times over and read it, `count` times."""
    rng, told = np.random.default_rng([*seed, *kind.encode()]), Tried(kind, count)
    with tempfile.TemporaryDirectory(prefix="moue-fuzz-") as folder:
        path = Path(folder) / f"a{suffix_of(kind)}"
        for _ in range(count):
            data = sample(kind)
            for _ in range(int(rng.integers(1, 9))):
                data = mutated(data, rng)
            said = escapes(kind, path, data)
            if said:
                told.found.setdefault(said, data)
    return told


def suffix_of(kind: str) -> str:
    """The suffix of a reader's file."""
    return kind.removeprefix("delta").removeprefix("frames").replace(".marks", ".toml")


def _tried(asked: tuple[str, int, tuple[int, ...]]) -> Tried:
    return tried(*asked)


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("readers", nargs="*", metavar="READER", help=", ".join(READERS))
    read.add_argument("--count", type=int, default=1000, metavar="N", help="inputs for each reader")
    read.add_argument("--seed", type=int, default=2026, metavar="N")
    read.add_argument("--workers", type=int, default=1, metavar="N", help="processes")
    read.add_argument("--keep", type=Path, metavar="DIR", help="where what escaped is kept")
    said, bad = read.parse_args(), 0
    parts = [(kind, said.count // (20 if kind in APART else 1) // said.workers, (said.seed, part))
             for kind in said.readers or READERS for part in range(said.workers)]  # fmt: skip
    whole = {kind: Tried(kind) for kind, _, _ in parts}
    with ProcessPoolExecutor(said.workers, get_context("fork")) as pool:
        for number, part in enumerate(pool.map(_tried, parts), 1):
            told = whole[part.kind]
            told.more(part)
            if number % said.workers == 0:
                print(f"{told.kind}: {told.count} inputs, {len(told.found)} kinds of escape", *list(told.found)[:4],
                      sep="\n   ", flush=True)  # fmt: skip
                bad += len(told.found)
                keep(told, said.keep)
    sys.exit(1 if bad else 0)


def keep(told: Tried, folder: Path | None) -> None:
    """Keep what escaped, cut down while it still escapes."""
    if folder is None:
        return
    folder.mkdir(parents=True, exist_ok=True)
    suffix = suffix_of(told.kind)
    for number, data in enumerate(told.found.values()):
        with tempfile.TemporaryDirectory(prefix="moue-fuzz-") as place:
            least = smallest(told.kind, Path(place) / f"a{suffix}", data)
        (folder / f"{told.kind.strip('.')}_{number}{suffix}").write_bytes(least)


if __name__ == "__main__":
    main()
