"""The time of the GPU's pose, beside the CPU's in the same run: `python -m composer.bench.window_gpu --json -`.

The head is the bench's cube-sphere with seeded smooth noise. Twelve round regions of 5 to 15 percent of the vertices
each overlap on its front, the face; 40 cells have a weight. GPU times come from timer queries, with several frames in
flight, so that the GPU never waits for Python. Another row has the time of a frame from the call to `glFinish`. The
head is drawn as the window draws it, with one sample a pixel: more samples would make the pose's share smaller.

Importing this module makes pyglet work without a screen on Linux, unless GL is loaded already. It raises MoueError
where there is no OpenGL.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from statistics import median

import numpy as np
import pyglet

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, in_turns, middle_half, timed
from composer.errors import MoueError
from composer.head.head import Head, Shape
from composer.mixing.active import LivePose
from composer.mixing.columns import column
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe
from masks.partition import effective_masks

if sys.platform.startswith("linux") and "pyglet.gl" not in sys.modules:
    pyglet.options.headless = True
    pyglet.options.debug_gl = False
try:
    import pyglet.gl as gl  # pyglet alone would load it at its first use only
except Exception as error:  # pyglet opens a display when GL is loaded, with errors of many types
    raise MoueError(f"this machine gives no OpenGL: {error}") from error

from composer.viewer.render.camera import named_eye
from composer.viewer.render.gl_state import is_software, renderer
from composer.viewer.render.gpu_context import Way, best_way, context_info
from composer.viewer.render.gpu_pose import GpuPose
from composer.viewer.render.look import Look
from composer.viewer.render.normals import Normals
from composer.viewer.render.view3d import View3D

SIDES = (72, 409)
"""31,106 and 1,003,688 vertices."""
SIZE = (1280, 800)
REGIONS, SHAPES, ACTIVE, SEED = 12, 8, 40, 11
FACE_DEGREES = 60.0
"""Largest angle of a region's middle from straight ahead, degrees."""
IN_FLIGHT = 4
FRAMES = 60


@contextmanager
def context() -> Iterator[None]:
    """An OpenGL context: that of an open window, otherwise of a hidden one, with version 4.3 or else 3.3.

    Raises MoueError where there is none.
    """
    for open_ in pyglet.app.windows:
        open_.switch_to()
        yield
        return
    from pyglet.window import Window

    window, why = None, ""
    for major, minor in ((4, 3), (3, 3)):
        try:
            config = gl.Config(major_version=major, minor_version=minor, depth_size=24)  # type: ignore[abstract]
            window = Window(64, 64, visible=False, config=config)
            break
        except Exception as error:  # pyglet has no common class for these errors
            why = str(error)
    if window is None:
        raise MoueError(f"this machine gives no OpenGL 3.3 context: {why}")
    try:
        yield
    finally:
        window.close()


def face_scene(side: int) -> tuple[Mixer, Recipe]:
    """A mixer and a recipe of 40 cells on this module's head of 6 side^2 + 2 vertices, the face towards z.

    Every shape moves every vertex, as scans do, so that a cell's support is its region's.
    """
    polygons, neutral = cube_sphere(side, seed=SEED)
    ball = neutral / np.linalg.norm(neutral, axis=1, keepdims=True)
    rng = np.random.default_rng(SEED)
    shapes = []
    for number in range(SHAPES):
        wave = np.sin(ball @ (3.0 * rng.normal(size=3)) + rng.uniform(0, 6.28))
        shapes.append(Shape(f"shape_{number}", (5.0 * wave[:, None] * rng.normal(size=3)).astype(np.float32)))
    raw = {}
    for number, share in enumerate(np.linspace(0.05, 0.15, REGIONS)):
        tilt, around = np.radians(FACE_DEGREES) * np.sqrt((number + 0.5) / REGIONS), 2.4 * number
        middle = np.array([np.sin(tilt) * np.cos(around), np.sin(tilt) * np.sin(around), np.cos(tilt)])
        reach = np.arccos(1.0 - 2.0 * share)  # a cap of this half angle is `share` of the sphere
        t = np.clip(2.0 * (1.0 - np.arccos(np.clip(ball @ middle, -1.0, 1.0)) / reach), 0.0, 1.0)
        raw[f"region_{number}"] = t * t * (3.0 - 2.0 * t)
    shared = effective_masks(list(raw.values()))
    chosen = np.sort(rng.choice(REGIONS * SHAPES, size=ACTIVE, replace=False))
    cells = tuple(
        Cell(f"region_{at // SHAPES}", f"shape_{at % SHAPES}", float(rng.uniform(0.1, 1.0))) for at in chosen.tolist()
    )
    head = Head("face on a cube-sphere", polygons, neutral, tuple(shapes))
    return Mixer(head, dict(zip(raw, shared, strict=True))), Recipe("bench", cells)


def wall_times(runs: list[list[Callable[[], object]]], rounds: int) -> list[list[list[float]]]:
    """As `gpu_times`, but by the clock from the call to `glFinish`: timer queries of software renderers are wrong."""
    flat = iter(in_turns([_finished(stage) for stages in runs for stage in stages], rounds))
    return [[next(flat) for _ in stages] for stages in runs]


def gpu_times(runs: list[list[Callable[[], object]]], rounds: int, warm: int = 8) -> list[list[list[float]]]:
    """Milliseconds of the GPU for each stage of each of the `runs`, one run after the other, `rounds` times.

    Timer queries are read after `IN_FLIGHT` rounds have been sent, so that the GPU always has work.
    """
    times: list[list[list[float]]] = [[[] for _ in stages] for stages in runs]
    queries: list[tuple[list[float], int]] = []
    for number in range(warm + rounds):
        for stages, taken in zip(runs, times, strict=True):
            for stage, list_ in zip(stages, taken, strict=True):
                query = gl.GLuint()
                gl.glGenQueries(1, ctypes.byref(query))
                gl.glBeginQuery(gl.GL_TIME_ELAPSED, query)
                stage()
                gl.glEndQuery(gl.GL_TIME_ELAPSED)
                queries.append((list_ if number >= warm else [], query.value))
        if number % IN_FLIGHT == IN_FLIGHT - 1 or number == warm + rounds - 1:
            for list_, name in queries:
                elapsed = gl.GLuint64()
                gl.glGetQueryObjectui64v(name, gl.GL_QUERY_RESULT, ctypes.byref(elapsed))
                gl.glDeleteQueries(1, ctypes.byref(gl.GLuint(name)))
                list_.append(elapsed.value / 1e6)
            queries = []
    return times


def rows_of(side: int, ways: list[Way]) -> Iterator[Row]:
    """The rows of one size of head, for each of `ways` in turn; needs a context. The first way has the goals."""
    mixer, recipe = face_scene(side)
    head = mixer.head
    live, normals = LivePose(mixer, recipe), Normals(head)
    share = mixer.shares(recipe)
    columns = {cell.key: column(mixer.motion(cell), share[cell.region], mixer.standing) for cell in recipe.cells}
    weights = {cell.key: cell.weight for cell in recipe.cells}
    few = 20 if head.n_vertices < 100_000 else 5
    cpu_morph, cpu_smooth = in_turns(
        [lambda: live.set_recipe(recipe), lambda: normals.all(live.positions)], few, warm=1
    )  # fmt: skip
    size = f"{head.n_vertices:,}"
    look, eye = Look(), named_eye("front", head.neutral, SIZE)
    large, hardware = head.n_vertices > 500_000, not is_software(renderer())
    for way in ways:
        pose, view = GpuPose(head.neutral, head.polygons, way), View3D(samples=0)
        view.open(head)

        def send(pose: GpuPose = pose) -> None:
            pose.set_columns(columns)
            gl.glFinish()

        def still(pose: GpuPose = pose, view: View3D = view) -> None:
            view.draw_buffers(pose.positions_buffer, pose.normals_buffer, look, eye, SIZE)

        def frame(pose: GpuPose = pose, still: Callable[[], None] = still) -> None:
            pose.pose(weights)
            still()

        sent = timed(send)
        pose.set_columns(dict(list(columns.items())[:-1]))
        added = timed(send)
        pose.pose(weights)
        rounds = FRAMES if hardware else few
        runs: list[list[Callable[[], object]]] = [[pose.morph, pose.smooth, still], [frame], [still]]
        (morph, smooth, _), (whole,), (alone,) = (gpu_times if hardware else wall_times)(runs, rounds)
        wall, wall_still = in_turns([_finished(frame), _finished(still)], rounds, warm=rounds // 5)
        both = [a + b for a, b in zip(morph, smooth, strict=True)]
        cpu_both = [a + b for a, b in zip(cpu_morph, cpu_smooth, strict=True)]
        goals = large and hardware and way == ways[0]
        note = (
            f"{size} vertices, {ACTIVE} active cells; {_context_words()}, {SIZE[0]} x {SIZE[1]}, "
            f"{pose.bytes_held / 1e6:.0f} MB of graphics memory; "
            f"40 columns sent in {sent:.0f} ms, one more in {added:.1f} ms"
        )
        cpu = "CPU path, numpy"
        yield _row(f"morph, {size} {way}", morph, cpu, cpu_morph, note)
        yield _row(f"normals, {size} {way}", smooth, cpu, cpu_smooth, note)
        yield _row(f"morph and normals, {size} {way}", both, cpu, cpu_both, note, 0.5 if goals else None)
        drawn = "drawing the still head"
        yield _row(f"frame, {size} {way}", whole, drawn, alone, note, None, 1.15 if goals else None)
        yield _row(f"frame to glFinish, {size} {way}", wall, drawn, wall_still, note)
        pose.close()
        view.close()


def rows() -> list[Row]:
    """Every row: 31,106 and 1,003,688 vertices, by the best way of this machine and by feedback.

    At the larger size, on a graphics card: morph and normals at most 0.5 ms, a whole frame at most 1.15 times the
    drawing of the still head. Raises MoueError where there is no OpenGL.
    """
    with context():
        ways: list[Way] = ["compute", "feedback"] if best_way() == "compute" else ["feedback"]
        return [row for side in SIDES for row in rows_of(side, ways)]


def _row(
    name: str, times: list[float], reference: str, reference_times: list[float], note: str,
    most_ms: float | None = None, most_ratio: float | None = None,
) -> Row:  # fmt: skip
    took, reference_ms = median(times), median(reference_times)
    goal = f"<= {most_ms:g} ms" if most_ms is not None else f"<= {most_ratio:g}x" if most_ratio is not None else ""
    holds = (most_ms is None or took <= most_ms) and (most_ratio is None or took <= most_ratio * reference_ms)
    return Row(name, took, middle_half(times), reference, reference_ms, took / reference_ms, goal, holds, note)


def _finished(run: Callable[[], object]) -> Callable[[], object]:
    def finished() -> None:
        run()
        gl.glFinish()

    return finished


def _context_words() -> str:
    return f"{renderer()}, OpenGL {context_info().get_version_string()}"


def main() -> None:
    """Measure and write the rows as JSON."""
    parser = argparse.ArgumentParser(prog="python -m composer.bench.window_gpu", description=main.__doc__)
    parser.add_argument("--json", default="-", metavar="FILE", help="the file for the rows; - is standard output")
    where = parser.parse_args().json
    text = json.dumps([asdict(row) for row in rows()], indent=1) + "\n"
    if where == "-":
        sys.stdout.write(text)
    else:
        Path(where).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
