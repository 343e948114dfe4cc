"""Skin that still cuts skin pushed apart, a little at a time: lips that cross on the library's own neutral cross on a
fitted head as well, and need not.

What the corners behind another triangle lack to stand before it again (`contact.crossing`) is met by the smoothest
small movement of the skin about them, in rounds; faces that it folds are unfolded first. A round counts where fewer
polygons cross afterwards and no face is turned over or folded more.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.contact.crossing import parting_rows
from composer.contact.solve import LineRows
from composer.fitting.hollows.uncross import Uncrossing
from composer.geometry.self_crossing import Crossings
from composer.geometry.surface import factorise

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

AT_ONCE = 1.5e-3
"""Furthest that a corner is pushed in a round, as a share of the skin's diagonal: some .7 mm. With a third of it
the lips of one of two people did not begin to part."""
RINGS = 4
"""Rings about what crosses that may move (our choice)."""
SMOOTH, STAY = 0.1, 1e-3
"""How much an edge's change and a vertex's movement weigh, beside what is lacking (our choice)."""
ROUNDS = 8
"""Rounds at most (our choice)."""


def push_apart(tables: Uncrossing, state: Crossings, fixed: Flags) -> Flags:
    """Move the vertices of `state` (s of them) until as few polygons cross as rounds of pushing leave; (s,) which did.

    Vertices flagged in `fixed` (s,) stay.
    """
    moved = np.zeros(len(state.positions), dtype=bool)
    for _ in range(ROUNDS):
        if not len(state.pairs):
            break
        about = np.zeros(len(moved), dtype=bool)
        about[tables.test.triangles[state.pairs]] = True
        about = tables.loops.grown(about, RINGS) & ~fixed
        rows = parting_rows(state.positions, tables.test.triangles, state.pairs, about, AT_ONCE * tables.extent)
        if not len(rows.vertices):
            break
        pushed = state.positions + _movement(tables, rows, about)
        trial, around = tables.unfolded(state.positions, pushed, about, fixed)
        found = state.tried(trial, around)
        fewer = tables.test.count(found) < tables.test.count(state.pairs)
        strange = len(tables.new(found)) > len(tables.new(state.pairs))
        worse = tables.loops.bad_about(trial, around) > tables.loops.bad_about(state.positions, around)
        if not fewer or strange or worse:
            break
        state.move(trial, around, found)
        moved |= around
    return moved


def _movement(tables: Uncrossing, rows: LineRows, about: Flags) -> Rows:
    """(s, 3) the movement of the vertices flagged in `about` (s,) that gives the `rows` what they lack."""
    at = np.flatnonzero(about)
    rank = np.full(len(about), -1, dtype=np.int64)
    rank[at] = np.arange(len(at))
    k, count = len(at), len(rows.vertices)
    assert rows.across is not None
    corner, share = rank[rows.across.corners], -rows.across.share
    vertex = np.concatenate([rank[rows.vertices][:, None], corner], axis=1)
    weight = np.concatenate([np.ones((count, 1)), share], axis=1)
    value = weight[:, :, None] * rows.directions[:, None, :]
    column = 3 * vertex[:, :, None] + np.arange(3)
    row = np.broadcast_to(np.arange(count)[:, None, None], column.shape)
    taken = sp.csr_matrix((value.ravel(), (row.ravel(), column.ravel())), shape=(count, 3 * k))
    edges = tables.polygons.edges
    ends = rank[edges[about[edges].any(axis=1)]]
    both = ends[(ends >= 0).all(axis=1)]
    link = sp.csr_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(k, k))
    link = link + link.T
    degree = np.bincount(ends[ends >= 0], minlength=k)  # edges to what stays count too: the movement fades
    stiff = sp.diags(SMOOTH * degree + STAY) - SMOOTH * link
    system = sp.kron(stiff, sp.identity(3)) + taken.T @ taken
    found = factorise(sp.csc_matrix(system)).solve(taken.T @ rows.lack)
    movement = np.zeros((len(about), 3))
    movement[at] = found.reshape(-1, 3)
    return movement
