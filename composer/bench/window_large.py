"""Large heads in the window: time to the first frame and to the first mix, frames a second, memory.

`python -m composer.bench.window_large --sizes 25000,160000 --json -` measures some sizes alone. Each size runs in a
process of its own, without a screen (EGL), so that its peak of memory is its own. The file is read once before, so that
both readings find it in memory; the reference of the first frame is what reading the same file takes alone, the
reference of all others the frame in which nothing changes.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from statistics import median

from composer.bench.large_heads import SIZES, write_large_head
from composer.bench.measure import Row, middle_half
from composer.errors import MoueError

BESIDE_MS, CARD_FRAME_MS, PLAIN_FRAME_MS = 2000.0, 1000.0 / 30.0, 1000.0 / 5.0
"""The most that the first frame takes beside the reading of the file, and a frame with and without a card."""
EACH_RUN_SECONDS = 540.0
RUN = "composer.bench.window_large_run"


def rows(sizes: Sequence[int] = tuple(SIZES)) -> list[Row]:
    """The rows of every size. Raises MoueError where there is no OpenGL, or a size is not one of `SIZES`."""
    unknown = [size for size in sizes if size not in SIZES]
    if unknown:
        raise MoueError(f"{unknown[0]} is no size of a large head", hint=f"sizes are {', '.join(map(str, SIZES))}")
    return [row for size in sizes for row in rows_of(size)]


def rows_of(size: int) -> Iterator[Row]:
    """The rows of one size."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.npz"
        count = write_large_head(path, size)
        path.read_bytes()
        alone = _ran("read", path)["read_ms"]
        told = _ran("window", path)
    words = f"{count:,} vertices, 20 shapes; {told['renderer']}, 1280 x 800"
    short = f"{size / 1e6:g} million" if size >= 1_000_000 else f"{size:,}"
    beside = told["first_ms"] - told["import_ms"]
    peak = f"peak memory {told['peak_mb']:.0f} MB"
    yield Row(f"first frame, {short}", beside, 0.0, "its file read", alone, beside / alone,
              f"<= {BESIDE_MS:g} ms more", beside - alone <= BESIDE_MS,
              f"{words}; {told['first_processor']:.0f} ms of processor time; {peak}")  # fmt: skip
    mixed = told["mix_ms"] - told["import_ms"]
    yield Row(f"first mix, {short}", mixed, 0.0, "its file read", alone, mixed / alone, "", True,
              f"{words}; {told['mix_processor']:.0f} ms of processor time; all is there after "
              f"{told['whole_ms'] - told['import_ms']:.0f} ms")  # fmt: skip
    most = PLAIN_FRAME_MS if told["software"] else CARD_FRAME_MS
    still = median(told["still"]["wall"])
    for name, what in (("orbit", "turned"), ("cell drag", "dragged"), ("brush step", "brushed")):
        times = told[what]["wall"]
        if not times:
            continue
        took = median(times)
        rate = f"{1000.0 / took:.0f} frames a second, {told[what]['processor']:.0f} ms of processor time each"
        yield Row(f"{name}, {short}", took, middle_half(times), "a frame in which nothing changes", still, took / still,
                  f"<= {most:.3g} ms", took <= most, f"{words}; {rate}")  # fmt: skip


def _ran(what: str, path: Path) -> dict:
    """What a process of its own tells of a file. Raises MoueError where it fails."""
    command = [sys.executable, "-m", RUN, what, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=EACH_RUN_SECONDS)
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["it told nothing"])[-1]
        raise MoueError(f"the window could not be measured: {last}")
    told: dict = json.loads(done.stdout.strip().splitlines()[-1])
    return told


def main() -> None:
    """Measure and write the rows as JSON."""
    parser = argparse.ArgumentParser(prog="python -m composer.bench.window_large", description=main.__doc__)
    sizes = ",".join(map(str, SIZES))
    parser.add_argument("--sizes", default=sizes, metavar="N,N", help=f"numbers of vertices, of {sizes}")
    parser.add_argument("--json", default="-", metavar="FILE", help="the file for the rows; - is standard output")
    asked = parser.parse_args()
    measured = rows([int(size) for size in asked.sizes.split(",")])
    text = json.dumps([asdict(row) for row in measured], indent=1) + "\n"
    if asked.json == "-":
        sys.stdout.write(text)
    else:
        Path(asked.json).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
