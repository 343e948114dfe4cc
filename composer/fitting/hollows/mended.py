"""The hollows of a fitted skin put in order, and skin that cuts skin taken back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.pushed_apart import push_apart
from composer.fitting.hollows.shown import Cavity
from composer.fitting.hollows.uncross import STAY
from composer.fitting.reference_shape import shaped
from composer.geometry.self_crossing import Crossings

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

CARRY_ROUNDS = 12
"""Rounds in which a cavity takes the library's form from its rim (our choice: more change it by under 0.01 mm)."""
LET_GO = 2e-3
"""Share of the head's diagonal, some 1 mm, from which on a landmark that gave way is told (our choice)."""


@dataclass(frozen=True, eq=False)
class Mended:
    """The skin's `positions` (s, 3) mm, and which vertices (s,) `moved` for the sake of its hollows or of crossings;
    those `pushed` (s,) moved by fractions of a mm, so that lips do not cross where the library's do."""

    positions: Rows
    moved: Flags
    pushed: Flags


def mend(
    library: LibrarySkin, positions: Rows, cavities: Sequence[Cavity], loose: Flags, fixed: Flags
) -> Mended:
    """Carry the cavities that the sculpt does not show by their rims, then take crossings back.

    `positions` (s, 3) mm are the skin on the sculpt, its cavities filled smoothly. A cavity takes the library's form
    from its rim where no more skin crosses then than with the filling. Vertices flagged in `loose` (s,) do not lie on
    the sculpt and give way first; those in `fixed` (s,) stay.
    """
    uncrossing = library.uncrossing
    state = uncrossing.test.at(positions)
    moved = np.zeros(len(positions), dtype=bool)
    for cavity in cavities:
        if not cavity.shown and _carried(library, state, cavity.flags & ~fixed):
            moved |= cavity.flags & ~fixed
    moved |= uncrossing.apply(state, loose | moved, fixed)
    pushed = push_apart(uncrossing, state, fixed)
    return Mended(state.positions, moved, pushed)


def _carried(library: LibrarySkin, state: Crossings, cavity: Flags) -> bool:
    """Whether a cavity (s,) took the library's form from its rim: it does where no more pairs cross than before."""
    uncrossing = library.uncrossing
    trial = shaped(
        uncrossing.polygons, state.positions, uncrossing.loops, uncrossing.rest, np.flatnonzero(cavity), STAY,
        CARRY_ROUNDS,
    )  # fmt: skip
    pairs = state.tried(trial, cavity)
    worse = len(uncrossing.new(pairs)) > len(uncrossing.new(state.pairs))
    if worse or uncrossing.loops.bad(trial).sum() > uncrossing.loops.bad(state.positions).sum():
        return False
    state.move(trial, cavity, pairs)
    return True


def let_go_words(pairs: Pairs, positions: Rows, moved: Flags, size_mm: float) -> list[str]:
    """A question for each landmark of `pairs` that `moved` (n,) further than LET_GO of `size_mm`, the head's diagonal,
    from its place, on a head at `positions` (n, 3) mm."""
    words = []
    for name, vertex, place in zip(pairs.names, pairs.vertices, pairs.sculpt, strict=True):
        if vertex < 0 or not moved[vertex]:
            continue
        off = float(np.linalg.norm(positions[vertex] - place))
        if off > LET_GO * size_mm:
            words.append(
                f"Is landmark {name} at its place? Held there, skin would cut through skin; it lies {off:.1f} mm away."
            )
    return words
