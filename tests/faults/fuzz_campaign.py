"""Damaged files by the thousand for every reader: each is read, or refused in one line.

`python -m tests.faults.fuzz_campaign [READER ...] [--count N] [--seed N] [--keep DIR]` mutates a sample of each kind up
to eight times over, prints a line a reader, and keeps what escaped, cut down while it still escapes. Exit code 1 where
anything did.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np

from composer.errors import MoueError
from tests.faults.test_faults_damage import APART, READERS, mutated, sample


def escapes(kind: str, path: Path, data: bytes) -> str:
    """What escaped when these bytes were read; "" where they were read or refused in one line."""
    path.write_bytes(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            READERS[kind](path)
    except MoueError as error:
        return "" if str(error).isprintable() and len(str(error)) <= 200 else f"a line of {len(str(error))} signs"
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


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("readers", nargs="*", metavar="READER", help=", ".join(READERS))
    read.add_argument("--count", type=int, default=1000, metavar="N", help="inputs for each reader")
    read.add_argument("--seed", type=int, default=2026, metavar="N")
    read.add_argument("--keep", type=Path, metavar="DIR", help="where what escaped is kept")
    said, bad = read.parse_args(), 0
    with tempfile.TemporaryDirectory(prefix="moue-fuzz-") as folder:
        for kind in said.readers or READERS:
            rng = np.random.default_rng([said.seed, *kind.encode()])
            suffix = kind.removeprefix("delta").removeprefix("frames").replace(".marks", ".toml")
            path, found = Path(folder) / f"a{suffix}", dict[str, bytes]()
            count = said.count // (20 if kind in APART else 1)
            for _ in range(count):
                data = sample(kind)
                for _ in range(int(rng.integers(1, 9))):
                    data = mutated(data, rng)
                told = escapes(kind, path, data)
                if told:
                    found.setdefault(told, data)
            print(f"{kind}: {count} inputs, {len(found)} kinds of escape", *list(found)[:4], sep="\n   ", flush=True)
            bad += len(found)
            for number, data in enumerate(found.values()):
                if said.keep is not None:
                    said.keep.mkdir(parents=True, exist_ok=True)
                    (said.keep / f"{kind.strip('.')}_{number}{suffix}").write_bytes(smallest(kind, path, data))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
