"""Easing the cage over the field: vertices slide towards their neighbours' mean and go back onto the skin.

`ease` says how freely each vertex may move; 0 keeps it. Weights near 0.01 hold the nose, where the plain mean of
the neighbours would erase it.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.demo.field import Field
from composer.demo.layout import Layout

Rows = NDArray[np.float64]


def neighbours_mean(quads: NDArray[np.int64], n: int) -> sp.csr_matrix:
    """(n, n) the operator that gives every vertex the mean of its edge neighbours."""
    pairs = np.concatenate([np.stack([quads[:, k], quads[:, (k + 1) % 4]], axis=1) for k in range(4)])
    both = np.unique(np.concatenate([pairs, pairs[:, ::-1]]), axis=0)
    adjacency = sp.csr_matrix((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(n, n))
    degree = np.asarray(adjacency.sum(1)).ravel()
    return sp.diags(1 / np.maximum(degree, 1)) @ adjacency


def ease_over(field: Field, layout: Layout, positions: Rows, ease: Rows, on_skin: NDArray[np.bool_]) -> None:
    """Sixty small steps of easing, put back onto the field every fourth and after each of the last."""
    mean = neighbours_mean(layout.quads, layout.n)
    positions[on_skin] = field.project(positions[on_skin], 8)
    positions[layout.midline, 0] = 0.0
    free = ease > 0
    rate = 0.5 * ease[free, None]
    rows, moving = mean[free], on_skin & free
    for step in range(48):
        positions[free] += rate * (rows @ positions - positions[free])
        positions[layout.midline, 0] = 0.0
        if step % 6 == 5 or step > 44:
            positions[moving] = field.project(positions[moving], 2)
            positions[layout.midline, 0] = 0.0


def iron(layout: Layout, positions: Rows, share: Rows, steps: int = 8) -> None:
    """Smooth without the field: `share` (n,) in [0, 1] of the way to the neighbours' mean, and most of it back.

    The step back (Taubin 1995) keeps what is broad and takes only ripples away.
    """
    mean = neighbours_mean(layout.quads, layout.n)
    for _ in range(steps):
        for part in (0.5, -0.45):
            positions += (part * share)[:, None] * (mean @ positions - positions)
            positions[layout.midline, 0] = 0.0
