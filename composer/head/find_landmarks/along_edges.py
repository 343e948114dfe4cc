"""A curve in space as vertices of the skin, one after the other along edges: the cheapest way near the curve.

Nearest vertices of many points on a curve jump to and fro between rows; a way along edges does not.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
NEAR = 4.0
"""In edges about the curve: so far from it a way may lead."""
HELD = 0.5
"""In edges: a way so far from the curve costs twice as much as one on it (our choice)."""
FINE = 0.25
"""In edges: places along the curve from which distances are measured lie no further apart."""


def along_edges(
    curve: Floats, places: Floats, graph: sp.csr_matrix, skin: NDArray[np.int64]
) -> NDArray[np.int64] | None:
    """(k,) vertices from the one nearest to the first point of `curve` (m, 3) to the one nearest to its last.

    `places` (n, 3) and `curve` in one frame, mm; `graph` (n, n) the edges' lengths; `skin` (s,) the vertices that may
    be used. None where the curve is closed or no way leads along it.
    """
    tree = cKDTree(places[skin])
    ends = skin[tree.query(curve[[0, -1]])[1]]
    about = graph[ends[0]].data
    if ends[0] == ends[1] or not len(about):
        return None
    edge = float(np.median(about))
    line = cKDTree(_dense(curve, FINE * edge))
    near = skin[np.unique(np.concatenate(tree.query_ball_point(curve, NEAR * edge))).astype(np.int64)]
    local = graph[near][:, near].tocoo()
    off = (line.query(places[near])[0] / (HELD * edge)) ** 2
    cost = local.data * (1.0 + 0.5 * (off[local.row] + off[local.col]))
    start, end = (int(np.flatnonzero(near == each)[0]) if (near == each).any() else -1 for each in ends)
    if start < 0 or end < 0:
        return None
    weighted = sp.csr_matrix((cost, (local.row, local.col)), shape=local.shape)
    far, before = dijkstra(weighted, indices=start, return_predecessors=True)
    if not np.isfinite(far[end]):
        return None
    way = [end]
    while way[-1] != start:
        way.append(int(before[way[-1]]))
    return np.asarray(near[np.array(way[::-1])])


def _dense(curve: Floats, step: float) -> Floats:
    """(p, 3) points on a polyline (m, 3), no further apart than `step` mm."""
    length = np.linalg.norm(np.diff(curve, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(length)])
    wanted = np.linspace(0.0, at[-1], int(np.ceil(at[-1] / max(step, 1e-9))) + 1)
    return np.stack([np.interp(wanted, at, column) for column in curve.T], axis=1)
