"""Texture coordinates without overlaps: every chart is a disk, laid out by convex combination.

A disk whose border goes to a convex polygon and whose inner vertices are each a positive mean of their neighbours has
no fold (Tutte 1963; Floater 1997). The weights are Floater's mean value coordinates (2003) on the surface, positive
on every triangle; the border keeps its own lengths.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as spl
from numpy.typing import NDArray

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]


def border_loop(quads: Ints) -> Ints:
    """The one border of a disk of quads, as an ordered vertex list that runs as its quads do."""
    ahead = np.stack([quads, np.roll(quads, -1, axis=1)], axis=-1).reshape(-1, 2)
    once = {(int(a), int(b)) for a, b in ahead}
    after = {a: b for a, b in once if (b, a) not in once}
    loop = [min(after)]
    while after[loop[-1]] != loop[0]:
        loop.append(after[loop[-1]])
    return np.array(loop, dtype=np.int64)


def square_border(points: Rows) -> Rows:
    """(k, 2) a closed border laid on the unit square by its lengths; its corners fall on vertices."""
    step = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    at = np.concatenate([[0], np.cumsum(step)[:-1]]) / step.sum()
    corners = [int(np.argmin(np.abs(at - q / 4))) for q in range(4)]
    corners.append(len(points))
    ends = np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)], dtype=float)
    out = np.zeros((len(points), 2))
    wide = np.concatenate([at, [1.0]])
    for q in range(4):
        a, b = corners[q], corners[q + 1]
        t = (wide[a:b] - wide[a]) / (wide[b] - wide[a])
        out[a:b] = ends[q] + t[:, None] * (ends[q + 1] - ends[q])
    return out


def embed(quads: Ints, points: Rows, border: Ints, at: Rows, soft: Rows | None = None) -> Rows:
    """(n, 2) places of all vertices (n, 3) of a disk whose `border` (k,) is held at `at` (k, 2).

    Where `soft` (n,) is above 1 the surface takes more room: its weights are divided by it, as if its springs gave way.

    Vertices that no quad uses stay at the origin.
    """
    n = len(points)
    weight = _mean_values(quads, points)
    if soft is not None:
        give = sp.diags(1 / np.sqrt(soft))
        weight = (give @ weight @ give).tocsr()
    inner = np.zeros(n, dtype=bool)
    inner[np.unique(quads)] = True
    inner[border] = False
    total = np.asarray(weight.sum(1)).ravel()
    system = (sp.diags(total) - weight).tocsr()[inner]
    out = np.zeros((n, 2))
    out[border] = at
    if inner.any():
        out[inner] = spl.splu(system[:, inner].tocsc()).solve(-(system[:, border] @ at))
    return out


def _mean_values(quads: Ints, points: Rows) -> sp.csr_matrix:
    """(n, n) Floater's mean value weights, each quad taken as both of its two triangulations, halved."""
    rows, columns, values = [], [], []
    for a, b, c in ((0, 1, 2), (0, 2, 3), (1, 2, 3), (1, 3, 0)):
        triangle = quads[:, [a, b, c]]
        for turn in range(3):
            i, j, k = (np.roll(triangle, -turn, axis=1)[:, m] for m in range(3))
            u, v = points[j] - points[i], points[k] - points[i]
            lu, lv = np.linalg.norm(u, axis=1), np.linalg.norm(v, axis=1)
            cosine = np.clip((u * v).sum(1) / np.maximum(lu * lv, 1e-12), -0.98, 0.999)
            half_tangent = np.sqrt((1 - cosine) / (1 + cosine))
            for to, length in ((j, lu), (k, lv)):
                rows.append(i)
                columns.append(to)
                values.append(half_tangent / np.maximum(length, 0.05))
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return sp.csr_matrix(entries, shape=(len(points), len(points)))


def disk_uv(quads: Ints, points: Rows) -> Rows:
    """(m, 4, 2) a disk of quads laid on the unit square."""
    border = border_loop(quads)
    return embed(quads, points, border, square_border(points[border]))[quads]
