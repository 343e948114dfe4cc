"""Relax: the loops of a fitted head become more like the library's own, by sliding along the sculpt.

In rounds, vertices take the shape of their neighbourhoods on the library's neutral
(`composer.fitting.reference_shape`), keep to their tangent planes, and are brought back onto the sculpt.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.project import AGREE, REACH
from composer.fitting.reference_shape import ReferenceShape
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]

ROUNDS = 6
"""Rounds of sliding (our choice)."""
STAY, HELD = 0.6, 60.0
"""Weights with which a vertex, and a held one, is drawn to its present position, beside weight 1 for the shape of its
neighbourhood (our choice). The higher, the fewer loops move in a round; a held vertex hardly moves."""
UNTURNS = 8
"""Most attempts to hold back the vertices whose step turns a face over (our choice)."""


def relax(
    polygons: Polygons, positions: Rows, sculpt: ClosestSurface, reference: Rows, mask: NDArray | None = None, *,
    free: NDArray | None = None, held: NDArray | None = None, rounds: int = ROUNDS,
) -> Rows:  # fmt: skip
    """(n, 3) fitted positions (n, 3) mm with loops more like those of `reference` (n, 3), the library's neutral.

    `mask` (n,) in [0, 1] is how far each vertex may go; where it is 0 a vertex stays bit for bit. `free` (n,) is 1
    where vertices do not lie on the sculpt; they relax in space. `held` (h,) are vertices that hardly move, such as
    landmarks. A vertex whose step would turn a face over stays where it is.
    Raises MoueError where a mask has another length.
    """
    points = np.array(positions, dtype=np.float64)
    n = len(points)
    amount = np.ones(n) if mask is None else np.clip(np.asarray(mask, dtype=np.float64), 0.0, 1.0)
    in_space = np.zeros(n, dtype=bool) if free is None else np.asarray(free) >= 0.5
    if amount.shape != (n,) or in_space.shape != (n,) or polygons.n_vertices != n:
        raise MoueError(f"a mask has another length than the {n} vertices of the head")
    moving = np.flatnonzero((amount > 0) & (polygons.valence > 0))
    if not len(moving):
        return points
    stay = np.full(n, STAY)
    stay[np.asarray([] if held is None else held, dtype=np.int64)] = HELD
    shape = ReferenceShape(Surface(polygons, reference), moving, stay[moving])
    loops = Loops(polygons, reference)
    on_sculpt, bad = ~in_space[moving], loops.bad(points)
    for _ in range(rounds):
        normals = Surface(polygons, points).vertex_normals[moving]
        step = shape.step(points) - points[moving]
        step[on_sculpt] -= (step[on_sculpt] * normals[on_sculpt]).sum(1)[:, None] * normals[on_sculpt]
        moved = points[moving] + amount[moving, None] * step
        closest = sculpt.nearby(moved)
        lands = on_sculpt & ((closest.normal * normals).sum(1) > AGREE)
        lands &= (closest.distance <= REACH * sculpt.diagonal) & (~closest.on_border | polygons.border_vertices[moving])
        moved[lands] += amount[moving[lands], None] * (closest.points[lands] - moved[lands])
        moved[on_sculpt & ~lands] = points[moving[on_sculpt & ~lands]]
        points, bad = _without_folds(loops, points, bad, moving, moved)
    return points


def _without_folds(
    loops: Loops, points: Rows, before: NDArray[np.bool_], moving: NDArray, moved: Rows
) -> tuple[Rows, NDArray[np.bool_]]:
    """`points` (n, 3) with the vertices `moving` (m,) at `moved` (m, 3), except those whose step turns or folds a face:
    they stay, and if need be their surroundings. And which polygons (f,) are bad then; `before` (f,) were."""
    held = np.zeros(len(points), dtype=bool)
    last, bad = points, before
    for attempt in range(UNTURNS):
        trial = points.copy()
        trial[moving] = np.where(held[moving, None], points[moving], moved)
        bad = loops.bad_again(trial, (trial != last).any(axis=1), bad) if attempt else loops.bad(trial)
        wrong, last = bad & ~before, trial
        if not wrong.any():
            return trial, bad
        held |= loops.grown(loops.vertices_of(wrong), attempt // 2)
    return points, before
