"""The loop of edges that goes straight on from an edge, from one polygon to the next."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges

ACROSS = 4
"""Edges at a vertex at which "straight on" has one meaning: as many on the one side of the loop as on the other."""


def edge_loop(mesh: HalfEdges, corner: int) -> tuple[NDArray[np.int64], bool]:
    """The vertices (k,) of the loop through the edge that goes out from a corner of `mesh`, and whether it is closed.

    At a vertex inside the mesh where four edges meet a loop takes the edge opposite the one that it came by. An edge of
    the border goes on along the border. A loop ends at any other vertex, and where polygons are turned over against
    each other. A closed loop does not repeat its first vertex.
    """
    on_border = mesh.twin[corner] < 0
    ahead, closed = _run(corner, lambda at: _next_on_border(mesh, at) if on_border else _straight_on(mesh, at))
    line = [int(mesh.vertex[corner]), *(_end(mesh, at) for at in ahead)]
    if closed:
        return np.array(line[:-1], dtype=np.int64), True
    if on_border:
        behind, _ = _run(corner, lambda at: _last_on_border(mesh, at))
        line = [*(int(mesh.vertex[at]) for at in behind[:0:-1]), *line]
    else:
        behind, _ = _run(int(mesh.twin[corner]), lambda at: _straight_on(mesh, at))
        line = [*(_end(mesh, at) for at in behind[:0:-1]), *line]
    return np.array(line, dtype=np.int64), False


def nearest_edge(mesh: HalfEdges, corners: NDArray[np.integer], bary: NDArray[np.floating]) -> int:
    """The corner of `mesh` whose edge lies nearest to a place of a polygon, which is given by all of the polygon's
    `corners` (c,) in order and their weights (c,): the two neighbours that have most weight together."""
    weight = np.asarray(bary, dtype=np.float64)
    first = int(np.argmax(weight + np.roll(weight, -1)))
    start, end = int(corners[first]), int(corners[(first + 1) % len(corners)])
    out = mesh.corners_at(start)
    return int(next((at for at in out if mesh.vertex[mesh.following[at]] == end), out[0]))


def _run(corner: int, step: Callable[[int], int]) -> tuple[list[int], bool]:
    """The corners from one on, each by `step` from the last, until that is below 0 or comes round."""
    line, known = [corner], {corner}
    while (after := step(line[-1])) >= 0:
        if after in known:
            return line, after == corner
        known.add(after)
        line.append(after)
    return line, False


def _end(mesh: HalfEdges, corner: int) -> int:
    """The vertex at which the edge out of a corner ends."""
    return int(mesh.vertex[mesh.following[corner]])


def _straight_on(mesh: HalfEdges, corner: int) -> int:
    """The edge opposite this one at its end, -1 where there is none."""
    across = int(mesh.twin[mesh.following[corner]])
    end = _end(mesh, corner)
    if across < 0 or mesh.valence[end] != ACROSS or len(mesh.corners_at(end)) != ACROSS:
        return -1
    return int(mesh.following[across])


def _next_on_border(mesh: HalfEdges, corner: int) -> int:
    """The edge of the border that goes on from this one, -1 where the border has no one way on."""
    at = int(mesh.following[corner])
    for _ in range(len(mesh.corners_at(int(mesh.vertex[at])))):
        if mesh.twin[at] < 0:
            return at
        at = int(mesh.following[mesh.twin[at]])
    return -1


def _last_on_border(mesh: HalfEdges, corner: int) -> int:
    """The edge of the border that this one goes on from, -1 where there is none."""
    at = int(mesh.before[corner])
    for _ in range(len(mesh.corners_at(int(mesh.vertex[corner])))):
        if mesh.twin[at] < 0:
            return at
        at = int(mesh.before[mesh.twin[at]])
    return -1
