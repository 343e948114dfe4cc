"""Random pulls on four recipes of two libraries, each judged from outside and timed, over several processes.

`python -m composer.bench.pull_table --workers 16 --json FILE` does fifty a recipe; `--pulls` fewer, `--libraries` one.
The real library is the one that MOUE_REAL names. Times are processor times of one process: with as many workers as
cores they are those of a busy machine.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import cache
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from composer.bench.pull import MOST_STEP_MS, OTHER_WAYS, REACHED, SEED, STEPS, view_of, words
from composer.bench.pull_scenes import demo_scene, real_scene
from composer.bench.pull_trials import FURTHER, Figures, Judge, judged, pulls, spots_about, usable
from composer.mixing.linear import Mixer
from composer.mixing.pull.pull import Pull
from composer.mixing.recipe import Recipe

LIBRARIES: dict[str, Callable[[], tuple[Mixer, list[Recipe]]]] = {"demo": demo_scene, "real": real_scene}
RECIPES = 4
PULLS = 50


@dataclass(frozen=True)
class Case:
    """One pull of one recipe: what became of it, processor ms of the press, the median step on the way and every first
    step in another direction, and the part of these other pulls that the point came, in the mean."""

    library: str
    recipe: str
    number: int
    figures: Figures
    press_ms: float
    step_ms: float
    first_ms: list[float]
    others_reach: float


@cache
def _scene(library: str) -> tuple[Judge, list[Recipe]]:
    mixer, recipes = LIBRARIES[library]()
    return Judge(mixer), recipes


def measured(asked: tuple[str, int, int, int]) -> Case:
    """One pull: the library, the number of the recipe, the number of the pull, and how many are drawn."""
    library, which, number, count = asked
    judge, recipes = _scene(library)
    mixer, recipe = judge.mixer, recipes[which]
    axes, pixel_mm = view_of(mixer)
    place, way = list(pulls(mixer, axes, pixel_mm, count, SEED + which))[number]
    figures = judged(judge, recipe, place, way, axes)
    spots = spots_about(mixer, place)
    begin = time.process_time()
    pull = Pull(mixer, recipe, place, axes, shapes=usable(mixer), spots=spots, joins=judge.joins)
    press = time.process_time() - begin
    steps = [_took(pull, way * i / STEPS)[0] for i in range(1, STEPS + 1)]
    turned = (np.cos(turn) * way + np.sin(turn) * np.cross(axes[2], way) for turn in np.radians(OTHER_WAYS))
    others = [_took(pull, each) for each in turned]
    return Case(
        library, recipe.name, number, figures, 1000.0 * press, float(np.median(steps)), [ms for ms, _ in others],
        float(np.mean([reach for _, reach in others])),
    )  # fmt: skip


def _took(pull: Pull, way: np.ndarray) -> tuple[float, float]:
    """Processor ms of one step, and the part of it that the point came."""
    begin = time.process_time()
    pulled = pull.to(pull.start + way)
    return 1000.0 * (time.process_time() - begin), pulled.got_mm / pulled.asked_mm


def table(cases: Sequence[Case]) -> Iterator[str]:
    """One line a library, one a recipe, then one a pull that breaks what a pull promises."""
    for library in dict.fromkeys(case.library for case in cases):
        own = [case for case in cases if case.library == library]
        yield f"{library}: {_line(own)}"
        for recipe in dict.fromkeys(case.recipe for case in own):
            yield f"  {recipe}: {_line([case for case in own if case.recipe == recipe])}"
    for case in cases:
        if case.figures.turned or case.figures.new > 3 or case.figures.further > FURTHER:
            yield f"! {case.library} {case.recipe} {case.number}: {case.figures}"


def _line(cases: Sequence[Case]) -> str:
    first = [ms for case in cases for ms in case.first_ms]
    return (
        f"{words([case.figures for case in cases])}; press {np.median([case.press_ms for case in cases]):.0f} ms, "
        f"step {np.median([case.step_ms for case in cases]):.1f}, first step another way {np.median(first):.1f} "
        f"(90th percentile {np.quantile(first, 0.9):.0f}, goal {MOST_STEP_MS:g}); "
        f"other ways reach {100.0 * np.mean([case.others_reach for case in cases]):.1f} %"
    )


def main() -> None:
    """Do and judge the pulls; exit code 1 where less than nine in ten come as far as a pull promises."""
    parser = argparse.ArgumentParser(prog="python -m composer.bench.pull_table", description=main.__doc__)
    parser.add_argument("--pulls", type=int, default=PULLS, metavar="N", help="pulls a recipe; those of a smaller N "
                        "are the first of a larger")  # fmt: skip
    parser.add_argument("--libraries", default=",".join(LIBRARIES), metavar="NAME,NAME")
    parser.add_argument("--workers", type=int, default=1, metavar="N", help="processes at once")
    parser.add_argument("--json", metavar="FILE", help="a file for all cases; - is standard output")
    asked = parser.parse_args()
    names = asked.libraries.split(",")
    if unknown := [name for name in names if name not in LIBRARIES]:
        parser.error(f"{unknown[0]} is no library; known are {', '.join(LIBRARIES)}")
    jobs = [(name, which, number, asked.pulls) for name in names for which in range(RECIPES)
            for number in range(asked.pulls)]  # fmt: skip
    if asked.workers == 1:
        cases = [measured(job) for job in jobs]
    else:
        with ProcessPoolExecutor(asked.workers, get_context("spawn")) as pool:
            cases = list(pool.map(measured, jobs, chunksize=5))
    for line in table(cases):
        print(line, file=sys.stderr if asked.json == "-" else sys.stdout)
    if asked.json:
        text = json.dumps([asdict(case) for case in cases], indent=1) + "\n"
        if asked.json == "-":
            sys.stdout.write(text)
        else:
            Path(asked.json).write_text(text, encoding="utf-8")
    sys.exit(int(np.mean([case.figures.share >= REACHED for case in cases]) < 0.9))


if __name__ == "__main__":
    main()
