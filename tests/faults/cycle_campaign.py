"""A document is opened, mixed, checked, baked and closed again and again: memory must not grow.

`python -m tests.faults.cycle_campaign [--cycles N] [--head demo|25000] [--json FILE]` prints the memory that the
process holds after more and more cycles (`VmRSS`, proc_pid_status(5)) and the growth of a cycle from the fifth part on,
by a line of least squares. Exit code 1 where a cycle grows by more than `MOST_KIB`.
"""

from __future__ import annotations

import argparse
import gc
import json
import sys
import tempfile
from pathlib import Path

import numpy as np

from composer import scripting
from composer.bench.cube_sphere import cube_sphere
from composer.demo.tour import tour
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from composer.head.head import Shape

MOST_KIB = 8.0
"""The most that a cycle may add, in KiB: a thousand cycles add 8 MiB then. Our choice."""
SIDE, SHAPES = 64, 20
"""A ball of 24,578 vertices, and how many shapes it has."""


def ball(folder: Path) -> Path:
    """A document of a ball with bumps for shapes, in one file."""
    polygons, points = cube_sphere(SIDE)
    points = points * 100.0
    rng = np.random.default_rng(3)
    shapes = []
    for number in range(SHAPES):
        near = np.exp(-((points - points[rng.integers(len(points))]) ** 2).sum(axis=1) / 800.0)
        shapes.append(Shape(f"bump_{number}", (near[:, None] * rng.normal(size=3) * 5.0).astype(np.float32)))
    write_mesh(folder / "ball.npz", Mesh(polygons, points, shapes=tuple(shapes), unit="mm"))
    made = scripting.make_regions(scripting.open_library(folder / "ball.npz"), folder / "ball.moue", "displacement")
    return scripting.save_document(made)


def demo(folder: Path) -> Path:
    """The demo's document."""
    tour(folder / "demo", lambda fraction, words: None)
    return next((folder / "demo").rglob("*.moue"), None) or next((folder / "demo").rglob("document.toml"))


def cycle(document: Path, to: Path, number: int) -> None:
    """Open, mix, bake, close."""
    evaluated = scripting.open_document(document)
    rng = np.random.default_rng(number)
    regions = [region.name for region in evaluated.project.regions]
    cells = {(str(rng.choice(regions)), str(rng.choice(evaluated.head.shape_names))): float(rng.uniform(0.2, 1.0))
             for _ in range(4)}  # fmt: skip
    recipe = scripting.make_recipe(f"mix_{number % 7}", cells)
    added = scripting.add_recipe(evaluated, recipe)
    scripting.evaluate(added, recipe.name)
    scripting.bake(added, to, [recipe])


def held_kib() -> float:
    """What the process holds in memory, KiB."""
    gc.collect()
    said = Path("/proc/self/status").read_text().split("VmRSS:")[1]
    return float(said.split()[0])


def main() -> None:
    """Run it, and print."""
    read = argparse.ArgumentParser(description=__doc__)
    read.add_argument("--cycles", type=int, default=1000, metavar="N")
    read.add_argument("--head", choices=("demo", "25000"), default="25000")
    read.add_argument("--json", type=Path, metavar="FILE")
    said = read.parse_args()
    with tempfile.TemporaryDirectory(prefix="moue-cycles-") as place:
        document = (demo if said.head == "demo" else ball)(Path(place))
        held = []
        for number in range(said.cycles):
            cycle(document, Path(place) / "baked", number)
            held.append(held_kib())
            if number + 1 in {1, 10, *range(50, said.cycles + 1, 50)}:
                print(f"{said.head}: after {number + 1} cycles {held[-1] / 1024:.1f} MiB", flush=True)
    late = np.arange(said.cycles // 5, said.cycles)
    growth = float(np.polyfit(late, np.array(held)[late], 1)[0]) if len(late) > 2 else 0.0
    print(f"{said.head}: {growth:.2f} KiB a cycle from the fifth part on, most {max(held) / 1024:.1f} MiB")
    if said.json is not None:
        said.json.write_text(json.dumps({"head": said.head, "kib": held, "growth_kib": growth}))
    sys.exit(1 if growth > MOST_KIB else 0)


if __name__ == "__main__":
    main()
