"""Points pulled at random on two libraries: how far they come, what happens to the rest, and the time of a step.

The real library is named by MOUE_REAL; without it its row is left out.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from composer.bench.measure import Row, middle_half, timed
from composer.bench.pull_scenes import demo_scene, real_scene
from composer.bench.pull_trials import FURTHER, SHORT, Figures, Judge, judged, pulls, spots_about, usable
from composer.errors import MoueError
from composer.mixing.linear import Mixer
from composer.mixing.pull.pull import Pull
from composer.mixing.recipe import Recipe
from composer.picture.views import camera_of

VIEW_PX = (748, 504)
"""The view of the head in a window of 1280 x 800 as it opens."""
PULLS, SEED = 50, 7
STEPS = 10
"""Steps of a pull from the press to its end."""
OTHER_WAYS = (60.0, 120.0, 180.0, 240.0, 300.0)
"""Then the point is pulled in these directions, degrees from the first."""
REACHED, MOST_STEP_MS = 0.8, 15.0


@dataclass(frozen=True, eq=False)
class Steps:
    """Milliseconds of the presses, of all steps on the way, of the first steps in other directions, and of a pose of
    the same recipes in the same run."""

    press: list[float]
    step: list[float]
    first: list[float]
    pose: list[float]


def rows() -> list[Row]:
    """Two rows a library: the median step, and the median first step in a direction, against 15 ms, beside one pose;
    the note tells how far the points came."""
    found = _rows("demo", demo_scene)
    with suppress(MoueError):
        found += _rows("real library", real_scene)
    return found


def _rows(name: str, make: Callable[[], tuple[Mixer, list[Recipe]]]) -> list[Row]:
    mixer, recipes = make()
    figures = pulled(mixer, recipes, PULLS)
    steps = step_times(mixer, recipes, 3)
    pose = median(steps.pose)
    slow, slow_first = (float(np.quantile(each, 0.95)) for each in (steps.step, steps.first))
    note = f"{words(figures)}; press {median(steps.press):.0f} ms, 95th percentile of a step {slow:.0f} ms"
    return [
        Row(
            what, median(each), middle_half(each), "one pose of the recipe", pose, median(each) / pose,
            f"<= {MOST_STEP_MS:g} ms", median(each) <= MOST_STEP_MS, said,
        )
        for what, each, said in (
            (f"a point pulled, {name}", steps.step, note),
            (f"pulled another way, {name}", steps.first, f"95th percentile {slow_first:.0f} ms"),
        )
    ]  # fmt: skip


def view_of(mixer: Mixer) -> tuple[NDArray[np.float64], float]:
    """(3, 3) right, up and back of the view in which a document opens, and what a pixel covers in mm."""
    neutral = mixer.head.neutral
    camera = camera_of("front", neutral, VIEW_PX)
    deep = neutral @ camera.axes[2]
    distance = float(camera.eye @ camera.axes[2] - 0.5 * (deep.min() + deep.max()))
    return camera.axes, 2.0 * distance * camera.scale / VIEW_PX[1]


def pulled(
    mixer: Mixer, recipes: list[Recipe], count: int, seed: int = SEED, least: float | None = None
) -> list[Figures]:  # fmt: skip
    """`count` random pulls of 5 to 30 pixels on each recipe, judged; `least` as in `judged`."""
    judge, (axes, pixel_mm) = Judge(mixer), view_of(mixer)
    return [
        judged(judge, recipe, place, way, axes, least)
        for number, recipe in enumerate(recipes)
        for place, way in pulls(mixer, axes, pixel_mm, count, seed + number)
    ]


def words(figures: list[Figures]) -> str:
    """What became of pulls, in one line."""
    turned, new = sum(one.turned for one in figures), max(one.new for one in figures)
    near = np.array([one.share >= REACHED for one in figures])
    further = np.array([one.further for one in figures])
    short = sum(one.best < SHORT * one.asked for one in figures)
    return (
        f"{len(figures)} pulls: {100 * near.mean():.0f} % reach {REACHED} of the best of three cells ({short} of them "
        f"hardly can), {turned} faces turned, at most {new} new cells, "
        f"elsewhere <= {FURTHER} times the point in {100 * (further <= FURTHER).mean():.0f} %"
    )


def step_times(mixer: Mixer, recipes: list[Recipe], count: int) -> Steps:
    """`count` pulls on each recipe, ten steps each and then one in each of OTHER_WAYS, timed beside poses."""
    judge, (axes, pixel_mm) = Judge(mixer), view_of(mixer)
    steps = Steps([], [], [], [])
    for number, recipe in enumerate(recipes):
        for place, way in pulls(mixer, axes, pixel_mm, count, SEED + 100 + number):
            taken: list[Pull] = []
            spots = spots_about(mixer, place)
            steps.press.append(timed(lambda: taken.append(  # noqa: B023
                Pull(mixer, recipe, place, axes, shapes=usable(mixer), spots=spots, joins=judge.joins)  # noqa: B023
            )))  # fmt: skip
            for i in range(1, STEPS + 1):
                steps.step.append(timed(lambda: taken[0].to(taken[0].start + way * i / STEPS)))  # noqa: B023
                steps.pose.append(timed(lambda: judge.pose(recipe)))  # noqa: B023
            for turn in np.radians(OTHER_WAYS):
                other = np.cos(turn) * way + np.sin(turn) * np.cross(axes[2], way)
                steps.first.append(timed(lambda: taken[0].to(taken[0].start + 0.5 * other)))  # noqa: B023
    return steps
