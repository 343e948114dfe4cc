"""How time and memory grow with a head's vertices and shapes: each head's work in a process of its own.

`python -m composer.bench.growth [--sizes N,N] [--shapes N,N] [--workers N] [--json FILE] [--plot FILE.svg]`, and
`moue bench --growth`. The slope of a step is the exponent p of a power law, time ~ vertices^p, by a line of least
squares through logarithms over the three largest heads: 1 is linear.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from composer.bench.growth_plot import plot
from composer.bench.large_heads import SIZES
from composer.errors import MoueError

GROWTH_SIZES = tuple(size for size in SIZES if size != 25_000)
GROWTH_SHAPES = (15, 60, 240)
STEPS = ("regions", "open", "mix", "check", "bake", "match")


@dataclass(frozen=True)
class Grown:
    """A head's figures: processor seconds and most MB by step, and the MB of its displacements alone."""

    size: int
    shapes: int
    seconds: dict[str, float]
    mb: dict[str, float]

    @property
    def data_mb(self) -> float:
        """What the displacements take as float32."""
        return 12.0 * self.size * self.shapes / 2**20


def grown(size: int, shapes: int) -> Grown:
    """Make a head and do its work. Raises MoueError where a process ends in an error."""
    with tempfile.TemporaryDirectory(prefix="moue-growth-") as folder:
        told = _run("make", size, shapes, folder) | _run("work", size, shapes, folder)
    return Grown(size, shapes, {step: told[step]["seconds"] for step in STEPS},
                 {step: told[step]["mb"] for step in STEPS})  # fmt: skip


def _run(half: str, size: int, shapes: int, folder: str) -> dict[str, dict[str, float]]:
    command = [sys.executable, "-m", "composer.bench.growth_run", half, str(size), str(shapes), folder]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        last = (done.stderr.strip().splitlines() or ["no word"])[-1]
        raise MoueError(f"a head of {size:,} vertices and {shapes} shapes: {last}")
    read: dict[str, dict[str, float]] = json.loads(done.stdout)
    return read


def all_grown(sizes: Sequence[int], shapes: Sequence[int], workers: int = 1,
              say: Callable[[str], object] = lambda words: None) -> Iterator[Grown]:  # fmt: skip
    """The figures of every size with every number of shapes, in this order, as they come."""
    cells = [(size, count) for size in sizes for count in shapes]
    with ThreadPoolExecutor(workers) as pool:
        for (size, count), one in zip(cells, pool.map(lambda cell: grown(*cell), cells), strict=True):
            say(f"{size:,} vertices, {count} shapes")
            yield one


def slope(rows: Sequence[Grown], step: str, shapes: int) -> float:
    """The exponent of a step's time with the number of vertices, over the three largest heads; nan below two."""
    held = sorted((row for row in rows if row.shapes == shapes), key=lambda row: row.size)[-3:]
    if len(held) < 2:
        return math.nan
    return float(np.polyfit([math.log(row.size) for row in held],
                            [math.log(max(row.seconds[step], 1e-3)) for row in held], 1)[0])  # fmt: skip


def lines(rows: Sequence[Grown]) -> list[str]:
    """The table as Markdown."""
    told = ["| vertices | shapes | data, MB | " + " | ".join(f"{step}, s" for step in STEPS) + " | most memory, MB |",
            "|---:|---:|---:|" + "---:|" * (len(STEPS) + 1)]  # fmt: skip
    for row in rows:
        seconds = " | ".join(f"{row.seconds[step]:.2f}" for step in STEPS)
        told.append(f"| {row.size:,} | {row.shapes} | {row.data_mb:,.0f} | {seconds} | {max(row.mb.values()):,.0f} |")
    for count in dict.fromkeys(row.shapes for row in rows):
        slopes = " | ".join(f"{slope(rows, step, count):.2f}" for step in STEPS)
        told.append(f"| slope | {count} | | {slopes} | |")
    return told


def write_growth(rows: Sequence[Grown], json_file: Path | None, plot_file: Path | None) -> None:
    """Write the figures and the plot where they are asked for."""
    if json_file is not None:
        json_file.write_text(json.dumps([asdict(row) for row in rows], indent=1))
    if plot_file is not None:
        seconds = _curves(rows, lambda row: sum(row.seconds.values()))
        memory = _curves(rows, lambda row: max(row.mb.values()))
        plot_file.write_text(plot([("all steps, processor seconds", seconds), ("most memory, MB", memory)], "vertices"))


def _curves(rows: Sequence[Grown], of: Callable[[Grown], float]) -> dict[str, list[tuple[float, float]]]:
    """For each number of shapes the (vertices, figure) of its heads."""
    counts = dict.fromkeys(row.shapes for row in rows)
    return {f"{count} shapes": [(row.size, of(row)) for row in rows if row.shapes == count] for count in counts}


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("--sizes", default=",".join(map(str, GROWTH_SIZES)), metavar="N,N", help="numbers of vertices")
    read.add_argument("--shapes", default=",".join(map(str, GROWTH_SHAPES)), metavar="N,N", help="numbers of shapes")
    read.add_argument("--workers", type=int, default=1, metavar="N", help="heads at once")
    read.add_argument("--json", type=Path, metavar="FILE")
    read.add_argument("--plot", type=Path, metavar="FILE.svg")
    said = read.parse_args()
    sizes, shapes = ([int(number) for number in text.split(",")] for text in (said.sizes, said.shapes))
    rows: list[Grown] = []
    for row in all_grown(sizes, shapes, said.workers):
        rows.append(row)
        sys.stdout.write(lines([row])[2] + "\n")
        sys.stdout.flush()
        write_growth(rows, said.json, said.plot)
    sys.stdout.write("\n".join(lines(rows)) + "\n")


if __name__ == "__main__":
    main()
