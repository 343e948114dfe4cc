"""Projection that gives way: where a level's move makes skin cross skin, the move is filled from around it, and
what still crosses, and does not on the library at that level, takes the library's form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.fitting.fill import fill
from composer.fitting.hollows.uncross import Uncrossing
from composer.fitting.loops import Loops
from composer.geometry.close_by import close_by
from composer.geometry.part import part_of, whole_polygons
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import Crossings, SelfCrossing
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEW = 3
"""Attempts at parting by the library's form at a level: what lies deeper is the work of `hollows.mended` (our choice).
"""
AROUND = 8
"""Rings about what crosses that may move, but for the outermost (our choice)."""
BESIDE = 2.0
"""Mean edges within which other skin, at the level or on the library, is looked at beside these (our choice)."""
RINGS = (1, 2, 4, 7)
"""Rings of vertices about crossing polygons whose move is filled, attempt after attempt (our choice). At a finer level
the same rings are half as wide: at level 4 of a sculpt most of what crossed on a lid was too deep for four."""


@dataclass(frozen=True, eq=False)
class Parted:
    """The `positions` (n, 3) mm of a surface, which of its vertices gave `way` (n,), and which of the polygons that
    were looked at (p,) still cross another."""

    positions: Rows
    way: Flags
    crossing: Flags


def without_crossing(
    surface: Surface, moved: Rows, close: Flags, can: Flags, loops: Loops, width_mm: float,
    ideal: Rows | None = None, loose: Flags | None = None,
) -> Parted:  # fmt: skip
    """The positions `moved` (n, 3) mm of `surface` (n vertices), with the move filled smoothly about polygons that
    cross and did not before it.

    Only polygons all of whose vertices are flagged in `close` (n,) are looked at, and only vertices flagged in `can`
    (n,) move. `width_mm` is that of `fill`. An attempt that leaves as many pairs, or makes more faces bad as `loops`
    has it, is dropped. With `ideal` (n, 3), the library's own positions, what crosses even so is parted by its form, as
    `hollows.uncross` does, within AROUND rings; vertices flagged in `loose` (n,) do not lie on the sculpt and go first.

    The whole is looked at once. What crosses is cut out with the skin beside it, place by place, and only that is
    looked at again: what is done at a place does not depend on what crosses elsewhere.
    """
    polygons = surface.polygons
    filled = np.zeros(len(moved), dtype=bool)
    test = SelfCrossing(polygons if close.all() else whole_polygons(polygons, close))
    pairs = test.pairs(moved)
    crossing = _fresh(test, surface.positions, pairs)
    if ideal is not None:
        crossing = np.concatenate([crossing, _fresh(test, ideal, pairs)])
    if not len(crossing):
        return Parted(moved, filled, test.faces_among(pairs))
    about = np.zeros(len(moved), dtype=bool)
    about[test.triangles[crossing]] = True
    around = loops.grown(about, AROUND)
    at = _beside(surface, moved, ideal, around)
    extent = surface.diagonal_mm if ideal is None else float(np.linalg.norm(np.ptp(ideal, axis=0)))
    every = _Place(surface, close, can, ideal, loose, loops, extent).only(at, around)
    number = np.zeros(len(moved), dtype=np.int64)
    number[at] = np.arange(len(at))
    parted = np.array(moved)
    for piece in _pieces(every.surface.polygons, around[at], number[test.triangles[crossing]]):
        near = _beside(every.surface, parted[at], every.ideal, piece)
        here = at[near]
        parted[here], way = every.only(near, piece).parted(parted[here], width_mm)
        filled[here] |= way
    changed = (parted != moved).any(axis=1)
    return Parted(parted, filled, test.faces_among(_left(test, parted, changed, pairs)))


@dataclass(frozen=True, eq=False)
class _Place:
    """A part of a surface in which skin crosses, with what `without_crossing` is told of its m vertices; `extent` is
    the size of the library's whole skin, mm."""

    surface: Surface
    close: Flags
    can: Flags
    ideal: Rows | None
    loose: Flags | None
    loops: Loops
    extent: float

    def only(self, at: NDArray[np.int64], movable: Flags) -> _Place:
        """The place of its vertices `at` (k,) alone, of which those flagged in `movable` (m,) may move."""
        reference = self.loops.reference[at]
        part = Surface(part_of(self.surface.polygons, at), self.surface.positions[at])
        return _Place(
            part, self.close[at], (self.can & movable)[at] & _inside(self.surface.polygons, at),
            None if self.ideal is None else self.ideal[at], None if self.loose is None else self.loose[at],
            Loops(part.polygons, reference), self.extent,
        )  # fmt: skip

    def parted(self, moved: Rows, width_mm: float) -> tuple[Rows, Flags]:
        """(m, 3) `moved` (m, 3) mm with less that crosses, and which vertices (m,) are filled or parted for it."""
        test = SelfCrossing(whole_polygons(self.surface.polygons, self.close))
        state = test.at(moved)
        filled = self._filled(test, state, width_mm)
        if self.ideal is None or not len(_fresh(test, self.ideal, state.pairs)):
            return state.positions, filled
        parting = Uncrossing(
            test.polygons, self.ideal, np.zeros(len(moved)), Loops(test.polygons, self.ideal), test,
            test.pairs(self.ideal), self.extent,
        )  # fmt: skip
        loose = filled if self.loose is None else filled | self.loose
        filled |= parting.apply(state, loose, ~self.can, FEW)
        return state.positions, filled

    def _filled(self, test: SelfCrossing, state: Crossings, width_mm: float) -> Flags:
        """Fill the move of `state` about what crosses and did not before; which vertices (m,) that were."""
        before = self.surface.positions
        filled = np.zeros(len(before), dtype=bool)
        fresh = _fresh(test, before, state.pairs)
        for rings in RINGS:
            if not len(fresh):
                break
            about = np.zeros(len(before), dtype=bool)
            about[test.triangles[fresh]] = True
            about = self.loops.grown(about, rings) & self.can
            trial = before + fill(self.surface, state.positions - before, about, width_mm)
            pairs = state.tried(trial, about)
            left = _fresh(test, before, pairs)
            bad = self.loops.bad_about(state.positions, about)
            if len(left) < len(fresh) and self.loops.bad_about(trial, about) <= bad:
                state.move(trial, about, pairs)
                filled |= about
                fresh = left
        return filled


def _pieces(polygons: Polygons, around: Flags, crossing: NDArray[np.int64]) -> list[Flags]:
    """The pieces (m,) of the vertices flagged in `around` (m,) that edges join, or that cross each other: `crossing`
    (q, 2, 3) are the corners of triangles that do. They come in the order of their lowest vertices."""
    edges = polygons.edges[around[polygons.edges].all(axis=1)]
    links = np.concatenate([edges, crossing[:, :, 0]])
    m = len(around)
    joined = sp.csr_matrix((np.ones(len(links), np.int8), (links[:, 0], links[:, 1])), shape=(m, m))
    label = np.where(around, connected_components(joined, directed=False)[1], -1)
    first = np.unique(label, return_index=True)
    return [label == number for number, _ in sorted(zip(*first, strict=True), key=lambda one: one[1]) if number >= 0]


def _beside(surface: Surface, moved: Rows, ideal: Rows | None, about: Flags) -> NDArray[np.int64]:
    """The vertices of `about` (n,) and of what lies beside them in space, where they moved and on the library."""
    polygons = surface.polygons
    faces = np.zeros(polygons.n_faces, dtype=bool)
    faces[polygons.corner_face[about[polygons.indices]]] = True
    within = BESIDE * surface.mean_edge_mm
    near = close_by(polygons, moved, faces, within)
    if ideal is not None:
        near |= close_by(polygons, ideal, faces, within)
    return np.unique(polygons.indices[near[polygons.corner_face]]).astype(np.int64)


def _inside(polygons: Polygons, at: NDArray[np.int64]) -> Flags:
    """(m,) which of the vertices `at` (m,) have all their polygons among them."""
    among = np.zeros(polygons.n_vertices, dtype=bool)
    among[at] = True
    part = np.logical_and.reduceat(among[polygons.indices], polygons.starts[:-1])
    among[polygons.indices[~part[polygons.corner_face]]] = False
    return among[at]


def _left(test: SelfCrossing, parted: Rows, changed: Flags, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """(q, 2) the pairs of triangles that cross at `parted` (n, 3), where the `pairs` (p, 2) did before the vertices
    flagged in `changed` (n,) moved: only what lies by their polygons is looked at."""
    moved: Flags = np.any(changed[test.triangles], axis=1)
    if not moved.any():
        return pairs
    faces = np.zeros(test.polygons.n_faces, dtype=bool)
    faces[test.face[moved]] = True
    near = close_by(test.polygons, parted, faces, 0.0)
    found = test.pairs_of(parted, moved, np.flatnonzero(near[test.face]))
    return np.concatenate([pairs[~moved[pairs].any(axis=1)], found])


def _fresh(test: SelfCrossing, before: Rows, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """(q, 2) those of the crossing `pairs` (p, 2) that do not cross at the positions `before` (n, 3)."""
    return test.without(pairs, test.crossing_of(before, pairs))
