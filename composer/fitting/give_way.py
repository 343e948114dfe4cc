"""Projection that gives way: where a level's move makes skin cross skin, the move is filled from around it, and
what still crosses, and does not on the library at that level, takes the library's form."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.fitting.fill import fill
from composer.fitting.hollows.uncross import Uncrossing
from composer.fitting.loops import Loops
from composer.geometry.part import chosen_polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEW = 3
"""Attempts at parting by the library's form at a level: what lies deeper is the work of `hollows.mended` (our choice).
"""
AROUND = 8
"""Rings about what crosses that are looked at, and may move but for the outermost (our choice)."""
RINGS = (1, 2, 4)
"""Rings of vertices about crossing polygons whose move is filled, attempt after attempt (our choice)."""


def without_crossing(
    surface: Surface, moved: Rows, close: Flags, can: Flags, loops: Loops, width_mm: float,
    ideal: Rows | None = None, loose: Flags | None = None,
) -> tuple[Rows, Flags]:  # fmt: skip
    """(n, 3) the positions `moved` (n, 3) mm of `surface` (n vertices), with the move filled smoothly about polygons
    that cross and did not before it, and which vertices (n,) that were.

    Only polygons all of whose vertices are flagged in `close` (n,) are looked at, and only vertices flagged in `can`
    (n,) move. `width_mm` is that of `fill`. An attempt that leaves as many pairs, or makes more faces bad as `loops`
    has it, is dropped. With `ideal` (n, 3), the library's own positions, what crosses even so is parted by its form, as
    `hollows.uncross` does, within AROUND rings; vertices flagged in `loose` (n,) do not lie on the sculpt and go first.
    """
    polygons = surface.polygons
    chosen = np.logical_and.reduceat(close[polygons.indices], polygons.starts[:-1])
    filled = np.zeros(len(moved), dtype=bool)
    if not chosen.any():
        return moved, filled
    test = SelfCrossing(chosen_polygons(polygons, chosen))
    state = test.at(moved)
    fresh = _fresh(test, surface.positions, state.pairs)
    for rings in RINGS:
        if not len(fresh):
            break
        about = np.zeros(len(moved), dtype=bool)
        about[test.triangles[fresh]] = True
        about = loops.grown(about, rings) & can
        trial = surface.positions + fill(surface, state.positions - surface.positions, about, width_mm)
        pairs = state.tried(trial, about)
        left = _fresh(test, surface.positions, pairs)
        if len(left) < len(fresh) and loops.bad_about(trial, about) <= loops.bad_about(state.positions, about):
            state.move(trial, about, pairs)
            filled |= about
            fresh = left
    if ideal is None or not len(_fresh(test, ideal, state.pairs)):
        return state.positions, filled
    about = np.zeros(len(moved), dtype=bool)
    about[test.triangles[state.pairs]] = True
    about = loops.grown(about, AROUND)
    chosen |= np.logical_and.reduceat(about[polygons.indices], polygons.starts[:-1])
    outside = np.zeros(len(moved), dtype=bool)
    outside[polygons.indices[~chosen[polygons.corner_face]]] = True
    test = SelfCrossing(chosen_polygons(polygons, chosen))
    state = test.at(state.positions)
    parting = Uncrossing(
        test.polygons, ideal, np.zeros(len(moved)), Loops(test.polygons, ideal), test, test.pairs(ideal),
        float(np.linalg.norm(np.ptp(ideal, axis=0))),
    )  # fmt: skip
    filled |= parting.apply(state, filled if loose is None else filled | loose, outside | ~can, FEW)
    return state.positions, filled


def _fresh(test: SelfCrossing, before: Rows, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """(q, 2) those of the crossing `pairs` (p, 2) that do not cross at the positions `before` (n, 3)."""
    return test.without(pairs, test.crossing_of(before, pairs))
