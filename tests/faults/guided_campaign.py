"""Damaged files that are led by what they reach: bytes that come to new lines of a reader are kept and changed further.

`python -m tests.faults.guided_campaign [READER ...] [--seconds N] [--keep DIR]` begins with the good sample of each
kind and its mutations, and prints a line a reader. It needs the package atheris (Apache 2.0), which neither Moue nor
its tests need: `pip install atheris`. Exit code 1 where anything escaped. One process a reader: the engine ends it.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

MUTATED = 60
"""Mutations of the sample to begin with, so that the search starts at more than one place. Our choice."""
LONGEST = 1 << 16
"""Bytes of an input at most: readers of short files are tried more often. Our choice."""


def search(kind: str, seconds: int, told: Connection) -> None:
    """Search one reader for `seconds`, and send the number of inputs, and what escaped with its first input."""
    import atheris

    with atheris.instrument_imports(include=["composer"], enable_loader_override=False):
        from tests.faults import fuzz_campaign as campaign
    folder = Path(tempfile.mkdtemp(prefix="moue-guided-"))
    path, found, count = folder / f"a{campaign.suffix_of(kind)}", dict[str, bytes](), 0
    rng, good = np.random.default_rng([2026, *kind.encode()]), campaign.sample(kind)
    start = folder / "start"
    start.mkdir()
    for data in (good, *(campaign.mutated(good, rng) for _ in range(MUTATED))):
        (start / hashlib.sha1(data).hexdigest()).write_bytes(data)

    def read(data: bytes) -> None:
        nonlocal count
        count += 1
        said = campaign.escapes(kind, path, data)
        if said and said not in found:
            found[said] = data
        if count % 50 == 1 or said:
            told.send((count, found))

    options = [f"-max_total_time={seconds}", f"-max_len={LONGEST}", "-print_final_stats=0", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *options, str(start)], read)
    atheris.Fuzz()


def main() -> None:
    """Run it, and print."""
    from tests.faults.fuzz_campaign import Tried, keep
    from tests.faults.test_faults_damage import APART, READERS

    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("readers", nargs="*", metavar="READER", help=", ".join(READERS))
    read.add_argument("--seconds", type=int, default=60, metavar="N", help="for each reader")
    read.add_argument("--keep", type=Path, metavar="DIR", help="where what escaped is kept")
    said, bad = read.parse_args(), 0
    for kind in said.readers or [each for each in READERS if each not in APART]:
        mine, theirs = get_context("spawn").Pipe(duplex=False)
        process = get_context("spawn").Process(target=search, args=(kind, said.seconds, theirs))
        process.start()
        theirs.close()
        count, found = 0, dict[str, bytes]()
        try:
            while True:
                count, found = mine.recv()
        except EOFError:
            process.join()
        told = Tried(kind, count, found)
        print(f"{kind}: {count} inputs, {len(found)} kinds of escape", *list(found)[:4], sep="\n   ", flush=True)
        bad += len(found) + (count == 0)
        keep(told, said.keep)
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
