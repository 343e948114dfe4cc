"""Crumbs: small connected pieces of a label, which join the neighbour of most similar motion or longest border."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

if TYPE_CHECKING:
    from masks.moving_places import MovingPlaces

CRUMB = 0.12
"""A piece smaller than this fraction of its label's area is a crumb. A design choice, no source."""


def crumbs_by_border(moving: MovingPlaces, labels: NDArray[np.int64], least_mm2: float) -> NDArray[np.int64]:
    """Labels (m,) in which every connected piece under `least_mm2` has joined the neighbour with the longest border,
    smallest first; a piece without neighbours stays. A piece on the midline of a mirrored mesh counts twice.
    """
    graph = moving.graph.tocoo()
    labels = labels.copy()
    while True:
        piece, area, centres = _pieces(moving, labels)
        if moving.partner is not None:
            nearest = np.full(len(area), np.inf)
            np.minimum.at(nearest, piece, moving.aside)
            area = np.where(nearest <= 1e-6 * moving.width, 2.0 * area, area)
        small = np.flatnonzero(area < least_mm2)
        for crumb in small[np.lexsort((*centres[small].round(6).T[::-1], area[small].round(6)))]:
            leaves = (piece[graph.row] == crumb) & (piece[graph.col] != crumb)
            if leaves.any():
                border = np.bincount(labels[graph.col[leaves]], graph.data[leaves])
                labels[piece == crumb] = int(np.argmax(border.round(6)))
                break
        else:
            return labels


def crumbs_by_likeness(moving: MovingPlaces, labels: NDArray[np.int64]) -> NDArray[np.int64]:
    """Labels (m,) numbered from 0, each in one piece. Large pieces become labels of their own. Crumbs, largest first,
    join the adjacent piece with the most similar motion, or the nearest piece if none is adjacent.
    """
    piece, area, centres = _pieces(moving, labels)
    count = len(area)
    of = np.zeros(count, dtype=np.int64)
    of[piece] = labels
    kept = area >= CRUMB * np.bincount(labels, weights=moving.mass)[of]
    among = sp.csr_matrix((moving.mass / area[piece], (piece, np.arange(len(piece)))), shape=(count, len(piece)))
    profiles = among @ moving.features.T
    profiles /= np.maximum(np.linalg.norm(profiles, axis=1, keepdims=True), 1e-12)
    graph = moving.graph.tocoo()
    touch = sp.csr_matrix((np.ones(len(graph.row)), (piece[graph.row], piece[graph.col])), shape=(count, count))
    order = np.flatnonzero(kept)
    order = order[np.lexsort(centres[order].round(6).T[::-1])]
    rank = np.full(count, -1, dtype=np.int64)
    rank[order] = np.arange(len(order))
    crumbs = np.flatnonzero(~kept)
    waiting = crumbs[np.lexsort((*centres[crumbs].round(6).T[::-1], -area[crumbs].round(6)))].tolist()
    beside = {c: touch.indices[touch.indptr[c] : touch.indptr[c + 1]] for c in waiting}
    while waiting:
        first = next((i for i, c in enumerate(waiting) if (rank[beside[c]] >= 0).any()), None)
        crumb = waiting.pop(first or 0)
        if first is None:
            best = order[np.argmin(np.linalg.norm(centres[order] - centres[crumb], axis=1))]
        else:
            near = beside[crumb][rank[beside[crumb]] >= 0]
            best = near[np.argmax(profiles[near] @ profiles[crumb])]
        rank[crumb] = rank[best]
    return rank[piece]


def _pieces(moving: MovingPlaces, labels: NDArray[np.int64]) -> tuple[NDArray, NDArray, NDArray]:
    """The connected piece of each place (m,), and the area in mm^2 and the centre of each piece."""
    graph = moving.graph.tocoo()
    same = labels[graph.row] == labels[graph.col]
    inside = sp.csr_matrix((graph.data[same], (graph.row[same], graph.col[same])), shape=graph.shape)
    count, piece = connected_components(inside, directed=False)
    area = np.bincount(piece, weights=moving.mass, minlength=count)
    centres = np.stack([np.bincount(piece, moving.mass * at, count) / area for at in moving.positions.T], axis=1)
    return piece, area, centres
