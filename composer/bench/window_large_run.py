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

BEGIN = time.perf_counter()
FRAMES, WARM, FEWER, SLOW_SECONDS = 40, 3, 8, 0.25
LEFT, RIGHT = 1, 4
EACH_SECONDS = 1.0 / 60.0
"""Between frames that wait for something, as the window itself draws them."""


def _ms() -> float:
    return 1e3 * (time.perf_counter() - BEGIN)


def read(path: Path) -> dict[str, float]:
    """The time of the reading alone."""
    from composer.formats.mesh_head import head_of
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
            if shown.awake:
                frame()
            time.sleep(EACH_SECONDS)
            if any(words.kind == "wrong" for words in stage.words):
                raise SystemExit(f"it was not opened: {[words.text for words in stage.words]}")
        frame()
        return _ms()

    begin_opening(stage, path)
    spent = time.process_time()
    told["first_ms"] = until(lambda: stage.session is not None)
    told["first_processor"] = 1e3 * (time.process_time() - spent)
    until(lambda: stage.session is not None and not stage.session.arriving)
    session = stage.opened
    shape = session.head.shape_names[0]
    if not session.project.recipes:
        session.apply(lambda project: add_recipe(project, Recipe("bench")))
        session.choose_recipe(session.project.recipes[0].name)
    session.apply(lambda project: set_cell(project, session.recipe_name, Cell(ALL, shape, 0.5)))
    frame()
    told |= {"mix_ms": _ms(), "mix_processor": 1e3 * (time.process_time() - spent)}
    told["whole_ms"] = until(lambda: not [job for job in stage.work.jobs if not job.quiet])
    session = stage.opened
    region = session.project.regions[0].name if session.project.regions else ALL
    until(lambda: not stage.work.jobs and not shown.thumbs.waiting)
    step = [0]

    def drag() -> None:
        step[0] += 1
        cell = Cell(region, shape, 0.3 + 0.2 * (step[0] % 2))
        session.preview(lambda project: set_cell(project, session.recipe_name, cell))
        frame()

    left, top, width, height = stage.view
    middle = left + width / 2, top + height / 2
    told["still"] = _times(frame)
    told["turned"] = _dragged(shown, frame, middle, RIGHT, 3.0)
    told["dragged"] = _times(drag)
    session.abort()
    told["brushed"] = {"wall": [], "processor": 0.0}
    if region != ALL and stage.eye is not None:
        session.region, stage.place = region, "paint"
        until(lambda: shown.panels.painting.ready_for(session) and not stage.work.jobs)
        place = session.head.neutral[session.centre_of(region)]
        seen = stage.eye.project(place[None], *stage.view_size)[0][0]
        told["brushed"] = _dragged(shown, frame, (left + float(seen[0]), top + float(seen[1])), LEFT, 1.0)
    return told | {"peak_mb": peak_mb()}


def _times(run: Callable[[], None]) -> dict[str, Any]:
    """Milliseconds of each of some calls, fewer where they are slow, and of processor time in the mean."""
    times: list[float] = []
    spent = 0.0
    for number in range(FRAMES + WARM):
        begin, before = time.perf_counter(), time.process_time()
        run()
        if number >= WARM:
            times.append(1e3 * (time.perf_counter() - begin))
            spent += 1e3 * (time.process_time() - before)
        if len(times) >= FEWER and sum(times) > 1e3 * SLOW_SECONDS * FRAMES:
            break
    return {"wall": times, "processor": spent / len(times)}


def _dragged(shown: Any, frame: Callable[[], None], at: tuple[float, float], button: int, by: float) -> dict[str, Any]:
    """The times of frames while a button is held at a place of the window (points, y from the top) and the pointer goes
    to and fro by `by` points a frame."""
    from pyglet.event import EventDispatcher

    x, y = round(at[0]), round(shown.height - at[1])
    EventDispatcher.dispatch_event(shown, "on_mouse_motion", x, y, 0, 0)
    for _ in range(WARM):
        frame()
    EventDispatcher.dispatch_event(shown, "on_mouse_press", x, y, button, 0)
    frame()
    if not shown.drag.active:
        raise SystemExit(f"nothing began where a button was pressed, at {at}")
    step = [0]

    def move() -> None:
        before = x + round(by * abs((step[0] + 20) % 40 - 20))
        step[0] += 1
        now = x + round(by * abs((step[0] + 20) % 40 - 20))
        EventDispatcher.dispatch_event(shown, "on_mouse_drag", now, y, now - before, 0, button, 0)
        frame()

    times = _times(move)
    now = x + round(by * abs((step[0] + 20) % 40 - 20))
    EventDispatcher.dispatch_event(shown, "on_mouse_release", now, y, button, 0)
    frame()
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
