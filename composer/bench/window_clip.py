"""A clip played in the whole window in real time: how many of the frames that are due are shown.

On the demo its own clip; on the library that MOUE_REAL names a clip of ten random recipes, one every half second.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median

import numpy as np

from composer.bench.measure import Row, middle_half, timed
from composer.bench.real_files import real_files
from composer.bench.window_frame import frame, renderer_words
from composer.bench.window_gpu import SIZE
from composer.demo.tour import write_demo
from composer.document.project import Project
from composer.edits.recipes import add_recipe
from composer.mixing.clip import Clip, Key
from composer.mixing.recipe import Cell, Recipe
from composer.viewer.session.clip_on_face import PREPARING
from composer.viewer.session.open_job import begin_opening

SECONDS, FPS, RECIPES, CELLS = 6.0, 24.0, 10, 6
SHOWN = 0.98
"""The least share of frames shown, by our choice."""


def rows() -> list[Row]:
    """A row each for the demo and, where MOUE_REAL is set, for a real library. Raises MoueError where there is no
    OpenGL, or MOUE_REAL names no such library."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ.setdefault("MOUE_SETTINGS", str(Path(folder) / "settings"))
        demo = Path(folder) / "demo"
        write_demo(demo, lambda fraction, words: None)
        measured = [_row("the demo", demo / "document.toml")]
        if os.environ.get("MOUE_REAL"):
            with real_files("window_clip of a real library is left out") as library:
                measured.append(_row("a real library", library))
    return measured


def _row(words: str, path: Path) -> Row:
    from composer.viewer.session.settings import Settings
    from composer.viewer.window import MoueWindow

    window = MoueWindow(Settings())
    stage = window.stage
    try:
        begin_opening(stage, path)
        while stage.session is None or stage.session.arriving or stage.work.jobs:
            frame(window)
        if not stage.opened.project.clips:
            shapes = [shape.name for shape in stage.opened.head.expressions]
            stage.opened.apply(lambda project: _with_clip(project, shapes))
        stage.time_shown = True
        frame(window)
        while any(job.name == PREPARING for job in stage.work.jobs) or window.thumbs.waiting:
            frame(window)
        still = [timed(lambda: frame(window)) for _ in range(20)]
        strip = window.panels.time
        strip.loop = True
        strip.play(stage)
        taken, end = [], time.monotonic() + SECONDS
        while time.monotonic() < end:
            if strip.due(stage):
                taken.append(timed(lambda: frame(window)))
            else:
                time.sleep(0.001)
        shown, dropped = strip.shown, strip.dropped
        count = stage.opened.head.n_vertices
    finally:
        window.close()
    note = f"{shown} of {shown + dropped} frames shown in {SECONDS:g} s; {count:,} vertices; {renderer_words()}"
    return Row(f"a clip's frame, {words}", median(taken), middle_half(taken), "a frame in which nothing changes",
               median(still), median(taken) / median(still), f"{100 * SHOWN:g} % of its frames shown",
               shown >= SHOWN * (shown + dropped), f"{note}, {SIZE[0]} x {SIZE[1]}")  # fmt: skip


def _with_clip(project: Project, shapes: Sequence[str]) -> Project:
    """The document with a clip of random recipes of single regions."""
    drawn = np.random.default_rng(13)
    regions = [region.name for region in project.regions]
    for number in range(RECIPES):
        cells = tuple(Cell(str(region), shapes[int(drawn.integers(len(shapes)))], float(drawn.uniform(0.3, 1.0)))
                      for region in drawn.choice(regions, CELLS, replace=False))  # fmt: skip
        project = add_recipe(project, Recipe(f"bench_{number}", cells))
    keys = tuple(Key(0.5 * number, recipe=f"bench_{number}") for number in range(RECIPES))
    return project.with_(clips=(Clip("bench", fps=FPS, length=0.5 * (RECIPES - 1), keys=keys),))
