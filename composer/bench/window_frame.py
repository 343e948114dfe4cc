"""The time of a frame of the window, and the time to its first frame.

A synthetic head of 25,352 vertices (the bench's cube-sphere) is drawn as the window draws it, with one cell of forty
changed each time. The demo's document is opened in the window with all its panels.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median

from composer.bench.measure import Row, in_turns, middle_half
from composer.bench.window_gpu import SIZE, context, face_scene, gl
from composer.demo.tour import write_demo
from composer.edits.cells import set_cell
from composer.mixing.active import LivePose
from composer.mixing.recipe import Cell
from composer.viewer.render.camera import named_eye
from composer.viewer.render.gl_state import renderer
from composer.viewer.render.look import Look
from composer.viewer.render.normals import Normals
from composer.viewer.render.view3d import View3D
from composer.viewer.session.open_job import begin_opening

SIDE, FRAMES, FRAME_MS, START_MS, STARTS = 65, 60, 1000.0 / 60.0, 2000.0, 3
_START = """
import sys, time
import pyglet
pyglet.options.headless = pyglet.options.headless or {headless}
pyglet.options.debug_gl = False
from pathlib import Path
from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.settings import Settings
from composer.viewer.window import MoueWindow
window = MoueWindow(Settings())
begin_opening(window.stage, Path(sys.argv[1]))
while window.stage.session is None:
    window.on_draw(); window.flip(); time.sleep(0.002)
window.on_draw(); window.flip()
pyglet.gl.glFinish()
print(time.time())
import os
os._exit(0)
"""
_BARE = "import time; print(time.time())"


def rows() -> list[Row]:
    """Every row. Raises MoueError where there is no OpenGL."""
    with context():
        measured = [_synthetic()]
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("MOUE_SETTINGS", str(Path(folder) / "settings"))
        demo = Path(folder) / "demo"
        write_demo(demo, lambda fraction, words: None)
        measured += [*_window(demo / "document.toml"), _start(demo / "document.toml")]
    return measured


def _synthetic() -> Row:
    mixer, recipe = face_scene(SIDE)
    head, live, normals, view = mixer.head, LivePose(mixer, recipe), Normals(mixer.head), View3D()
    view.open(head)
    drawn = normals.all(live.positions)
    first, look, eye = recipe.cells[0], Look(), named_eye("front", head.neutral, SIZE)
    turned = [eye]
    step = [0]

    def changed() -> None:
        step[0] += 1
        touched = live.set_weight(first.region, first.shape, 0.2 + 0.3 * (step[0] % 2))
        normals.update(live.positions, touched, drawn)
        view.draw(live.positions, drawn, look, eye, SIZE, touched)
        gl.glFinish()

    def still() -> None:
        turned[0] = turned[0].orbit(1.0, 0.0)
        view.draw(live.positions, drawn, look, turned[0], SIZE, (0, 0))
        gl.glFinish()

    changed_ms, still_ms = in_turns([changed, still], FRAMES, warm=10)
    view.close()
    name = f"one cell drawn, {head.n_vertices:,} vertices"
    return _row(name, changed_ms, "drawing the same pose from another side", still_ms, FRAME_MS)


def _window(document: Path) -> list[Row]:
    """A cell dragged, and the head turned, in the whole window on the demo."""
    from composer.viewer.session.settings import Settings
    from composer.viewer.window import MoueWindow

    window = MoueWindow(Settings())
    try:
        begin_opening(window.stage, document)
        while window.stage.session is None or window.stage.work.jobs:
            frame(window)
        for _ in range(60):
            frame(window)
        session, stage, step = window.stage.session, window.stage, [0]

        def drag() -> None:
            step[0] += 1
            cell = Cell("mouth_corner_right", "joy", 0.3 + 0.2 * (step[0] % 2))
            session.preview(lambda project: set_cell(project, session.recipe_name, cell))
            frame(window)

        def turn() -> None:
            if stage.eye is not None:
                stage.turn(stage.eye.orbit(1.0, 0.0))
            frame(window)

        dragged, turned, idle = in_turns([drag, turn, lambda: frame(window)], FRAMES, warm=10)
        session.abort()
    finally:
        window.close()
    reference = "a frame in which nothing changes"
    return [_row("a cell dragged, whole window", dragged, reference, idle, FRAME_MS),
            _row("the head turned, whole window", turned, reference, idle, FRAME_MS)]  # fmt: skip


def frame(window: object) -> None:
    """Draw a frame of the whole window, to its end."""
    window.on_draw()  # type: ignore[attr-defined]
    window.flip()  # type: ignore[attr-defined]
    gl.glFinish()


def _start(document: Path) -> Row:
    """From the start of a Python to the first frame that shows the demo's head."""
    import pyglet

    script = _START.replace("{headless}", repr(bool(pyglet.options.headless)))
    window_ms, python_ms = in_turns([_child(script, str(document)), _child(_BARE)], STARTS, warm=1)
    return _row("window to the demo's first frame", window_ms, "an empty Python", python_ms, START_MS)


def _child(script: str, *arguments: str) -> Callable[[], None]:
    def run() -> None:
        subprocess.run([sys.executable, "-c", script, *arguments], check=True, capture_output=True, text=True)

    return run


def _row(name: str, times: list[float], reference: str, reference_times: list[float], most_ms: float) -> Row:
    took, reference_ms = median(times), median(reference_times)
    note = f"{SIZE[0]} x {SIZE[1]}, {renderer_words()}"
    note += f", {1000.0 / took:.0f} frames a second" if most_ms == FRAME_MS else ""
    return Row(name, took, middle_half(times), reference, reference_ms, took / reference_ms, f"<= {most_ms:.3g} ms",
               took <= most_ms, note)  # fmt: skip


def renderer_words() -> str:
    """The renderer that draws."""
    with context():
        return renderer()
