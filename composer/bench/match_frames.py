"""A performance matched, beside a plain least squares solution of the same frames.

The take is planted: eight of 57 shapes come and go on some 25,000 vertices, under noise of 0.2 mm, while the head
moves. The reference holds the same frames at once and solves them with one call of numpy's lstsq on all columns: it
knows no head motion, no bounds, no choice of cells and nothing of time. The memory is that of this process, first after
a third of the frames, then after all.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.bench.cube_sphere import cube_sphere
from composer.bench.measure import Row, measure
from composer.bench.peak_memory import peak_mb
from composer.bench.planted_take import planted_take
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.edits.head_frames import HeadFrames
from composer.edits.match_frames import MatchedFrames, match_frames
from composer.head.head import Head, Shape

SIDE, SHAPES, MOVING, FRAMES, SEED = 64, 57, 8, 96, 7
REACH = 0.3
"""How far a shape reaches, as a chord of the unit sphere."""


def rows() -> list[Row]:
    """At least ten frames a second: 100 ms each."""
    head = _head()
    evaluated = EvaluatedDocument(Project(Path("bench.moue"), Path("bench"), "mm"), head)
    rng = np.random.default_rng(SEED)
    cells = [("all", head.shape_names[at], False) for at in rng.choice(SHAPES, size=MOVING, replace=False)]
    take = planted_take(evaluated.mixer, cells, FRAMES, seed=SEED)
    columns = np.stack([shape.delta.ravel() for shape in head.shapes], axis=1).astype(np.float64)

    def matched(frames: int = FRAMES) -> MatchedFrames:
        part = planted_take(evaluated.mixer, cells, frames, seed=SEED)
        return match_frames(evaluated, HeadFrames(head, part.sequence), ["all"])

    def plain() -> None:
        held = np.stack([(frame - head.neutral).ravel() for frame in take.frames()], axis=1)
        np.linalg.lstsq(columns, held, rcond=None)

    matched(FRAMES // 3)
    first, found = peak_mb(), matched()
    place = {key: column for column, key in enumerate(found.cells)}
    zero = np.zeros(FRAMES)
    ours = np.stack([found.weights[:, place[key]] if key in place else zero for key in cells], axis=1)
    off = float(np.percentile(np.abs(ours - take.weights), 95))
    left = [column for key, column in place.items() if key not in cells]
    others = float(found.weights[:, left].max(initial=0.0))
    note = (
        f"{head.n_vertices:,} vertices, {SHAPES} shapes; weights off by {off:.2g} (95th percentile, goal 0.03), "
        f"other cells at most {others:.2g} (goal 0.05); {peak_mb() - first:.0f} MB more for 3 times the frames"
    )
    return [
        measure(
            f"a performance, {FRAMES} frames", matched, "numpy lstsq of the same frames", plain, repeats=2, warm=0,
            most_ms=100.0 * FRAMES, note=note,
        )
    ]  # fmt: skip


def _head() -> Head:
    """A ball of a head whose shapes each push a place of it."""
    polygons, neutral = cube_sphere(SIDE, seed=SEED)
    rng = np.random.default_rng(SEED)
    ball = neutral / np.linalg.norm(neutral, axis=1, keepdims=True)
    shapes = []
    for number in range(SHAPES):
        middle = rng.normal(size=3) + [0.0, 0.0, 2.0]
        away = np.linalg.norm(ball - middle / np.linalg.norm(middle), axis=1)
        push = 6.0 * np.exp(-0.5 * (away / REACH) ** 2)[:, None] * rng.normal(size=3)
        shapes.append(Shape(f"shape_{number}", push.astype(np.float32)))
    return Head("cube_sphere", polygons, neutral, tuple(shapes))
