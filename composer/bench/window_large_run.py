"""One large head opened and worked on in a window without a screen: what `composer.bench.window_large` runs.

`python -m composer.bench.window_large_run window FILE` tells, as one line of JSON, when the first frame with the head
stood in the window, when a cell could be mixed and drawn, when regions were there, and how long frames took; `read` how
long the file alone takes to read. Times are from the start of this module, in ms.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

Until = Callable[[Callable[[], bool]], float]
BEGIN = time.perf_counter()
FRAMES, FEWER, SLOW_SECONDS = 40, 8, 0.25


def _ms() -> float:
    return 1e3 * (time.perf_counter() - BEGIN)


def read(path: Path) -> dict[str, float]:
    """The time of the reading alone."""
    from composer.formats.library import head_of
    from composer.formats.registry import read_mesh

    begin = _ms()
    head_of(read_mesh(path))
    return {"read_ms": _ms() - begin}


def window(path: Path) -> dict[str, object]:
    """The times of the window."""
    from composer.bench import window_gpu  # first: it makes GL work without a screen
    from composer.bench.peak_memory import peak_mb
    from composer.edits.cells import set_cell
    from composer.edits.recipes import add_recipe
    from composer.mixing.recipe import ALL, Cell, Recipe
    from composer.viewer.render.gl_state import is_software, renderer
    from composer.viewer.session.open_job import begin_opening
    from composer.viewer.session.settings import Settings
    from composer.viewer.window import MoueWindow

    told: dict[str, object] = {}
    shown = MoueWindow(Settings(), size=window_gpu.SIZE)
    stage = shown.stage

    def frame() -> None:
        shown.on_draw()
        shown.flip()
        window_gpu.gl.glFinish()

    frame()
    told |= {"import_ms": _ms(), "renderer": renderer(), "software": is_software(renderer())}

    def until(holds: Callable[[], bool]) -> float:
        while not holds():
            frame()
            time.sleep(0.002)
            if any(words.kind == "wrong" for words in stage.words):
                raise SystemExit(f"it was not opened: {[words.text for words in stage.words]}")
        frame()
        return _ms()

    begin_opening(stage, path)
    told["first_ms"] = until(lambda: stage.session is not None)
    until(lambda: stage.session is not None and not stage.session.arriving)
    session = stage.opened
    shape = session.head.shape_names[0]
    if not session.project.recipes:
        session.apply(lambda project: add_recipe(project, Recipe("bench")))
        session.choose_recipe(session.project.recipes[0].name)
    session.apply(lambda project: set_cell(project, session.recipe_name, Cell(ALL, shape, 0.5)))
    frame()
    told["mix_ms"] = _ms()
    told["whole_ms"] = until(lambda: not [job for job in stage.work.jobs if not job.quiet])
    session = stage.opened
    region = session.project.regions[0].name if session.project.regions else ALL
    until(lambda: not stage.work.jobs and not shown.thumbs.waiting)
    step = [0]

    def turn() -> None:
        stage.turn(stage.eye.orbit(1.0, 0.0))
        frame()

    def drag() -> None:
        step[0] += 1
        cell = Cell(region, shape, 0.3 + 0.2 * (step[0] % 2))
        session.preview(lambda project: set_cell(project, session.recipe_name, cell))
        frame()

    told |= {"still": _times(frame), "turned": _times(turn), "dragged": _times(drag)}
    session.abort()
    told |= {"brushed": _brushed(shown, region, frame, until), "peak_mb": peak_mb()}
    return told


def _times(run: Callable[[], None]) -> list[float]:
    """Milliseconds of each of some calls; fewer where they are slow."""
    times: list[float] = []
    for number in range(FRAMES + 3):
        begin = time.perf_counter()
        run()
        if number >= 3:
            times.append(1e3 * (time.perf_counter() - begin))
        if len(times) >= FEWER and sum(times) > 1e3 * SLOW_SECONDS * FRAMES:
            break
    return times


def _brushed(shown: Any, region: str, frame: Callable[[], None], until: Until) -> list[float]:
    """The times of dabs of one stroke across a region, each with its frame."""
    stage, painting = shown.stage, shown.panels.painting
    session = stage.opened
    if region not in session.evaluated.raw:
        return [float("nan")] * 2
    session.region, stage.place = region, "paint"
    until(lambda: painting.ready_for(session) and not stage.work.jobs)
    middle = session.head.neutral[session.centre_of(region)]
    hits = []
    for number in range(FRAMES + 3):
        aim = middle + 6.0 * (number / FRAMES - 0.5)
        away = aim - stage.eye.place
        hit = stage.picker.pick(session.positions(), stage.eye.place, away) if number < 3 or hits else None
        if hit is None and hits:
            hit = hits[-1]
        if hit is not None and hit.part == "skin":
            hits.append(hit)
        if number == 2 and not hits:
            return [float("nan")] * 2
    painting.begin(session, stage.picker, hits[0])
    following = iter(hits * 2)

    def dab() -> None:
        painting.dab(session, next(following))
        frame()

    times = _times(dab)
    painting.abandon()
    return times


def main() -> None:
    """Run what is asked for and tell it."""
    what, path = sys.argv[1], Path(sys.argv[2])
    with tempfile.TemporaryDirectory() as settings:
        os.environ["MOUE_SETTINGS"] = settings
        told = read(path) if what == "read" else window(path)
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()
        os._exit(0)


if __name__ == "__main__":
    main()
