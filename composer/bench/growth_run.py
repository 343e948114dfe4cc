"""One head's work from opening to baking, in a process of its own that tells time and memory of each step as JSON.

`python -m composer.bench.growth_run make|work SIZE SHAPES FOLDER`. Memory is what the process holds that no file backs
(`RssAnon`, proc_pid_status(5)), looked at a hundred times a second: pages of files the system can let go of.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from composer.bench.large_heads import write_large_head
from composer.bench.peak_memory import STATUS, peak_mb

LOOKS = 0.01
"""Seconds between two looks at the memory."""


class Laps:
    """Processor seconds and most memory of each step."""

    def __init__(self) -> None:
        self.told: dict[str, dict[str, float]] = {}
        self.most = 0.0
        self.watch = threading.Thread(target=self._look, daemon=True)
        self.watch.start()

    def _look(self) -> None:
        while True:
            time.sleep(LOOKS)
            self.most = max(self.most, held_mb())

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Measure what runs within."""
        self.most = held_mb()
        begun = time.process_time()
        yield
        self.most = max(self.most, held_mb())
        self.told[name] = {"seconds": time.process_time() - begun, "mb": self.most}


def held_mb() -> float:
    """What the process holds and no file backs, MB; the peak of all it has held where the system does not say."""
    if STATUS.is_file():
        for line in STATUS.read_text().splitlines():
            if line.startswith("RssAnon:"):
                return float(line.split()[1]) / 1024
    return peak_mb()


def make(size: int, shapes: int, folder: Path) -> dict[str, dict[str, float]]:
    """Write the head, and a document on it with regions from what moves together."""
    from composer import scripting

    laps = Laps()
    write_large_head(folder / "head.npz", size, shapes)
    with laps.step("regions"):
        library = scripting.open_library(folder / "head.npz")
        scripting.save_document(scripting.make_regions(library, folder / "head.moue", "displacement", count=8))
    return laps.told


def work(size: int, shapes: int, folder: Path) -> dict[str, dict[str, float]]:
    """Open the document, mix a recipe of four cells, check it, match its pose from a file, bake it."""
    from composer import scripting

    laps = Laps()
    with laps.step("open"):
        document = scripting.open_document(folder / "head.moue")
    regions = [region.name for region in document.project.regions]
    names = document.head.shape_names
    cells: dict[tuple[str, str] | tuple[str, str, bool], float] = {
        (regions[k % len(regions)], names[k * len(names) // 4]): 0.4 + 0.15 * k for k in range(4)
    }
    recipe = scripting.make_recipe("mix", cells)
    with laps.step("mix"):
        document = scripting.add_recipe(document, recipe)
        scripting.evaluate(document, "mix")
    with laps.step("check"):
        scripting.check(document, ["mix"])
    with laps.step("bake"):
        target = next(file for file in scripting.bake(document, folder / "baked", ["mix"], suffix=".npz")
                      if file.stem != document.head.neutral_name)  # fmt: skip
    with laps.step("match"):
        scripting.match(document, target, regions=regions[:2])
    return laps.told


def main() -> None:
    """Run a half, and print."""
    half, size, shapes, folder = sys.argv[1:5]
    told = {"make": make, "work": work}[half](int(size), int(shapes), Path(folder))
    sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main()
