"""Rows that are the same, joined, in the order of their first appearance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def first_of_each(rows: NDArray) -> tuple[NDArray[np.intp], NDArray[np.int32]]:
    """For `rows` (n, w): where each different row first stands (m,), ascending, and the joined row of each (n,).

    Rows are the same where all their numbers are; 0.0 and -0.0 are one number.
    """
    clean = np.ascontiguousarray(rows) + rows.dtype.type(0)
    keys = clean.view(np.dtype((np.void, clean.dtype.itemsize * clean.shape[1]))).reshape(-1)
    _, first, where = np.unique(keys, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int32)
    rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
    return np.sort(first), rank[where.reshape(-1)]
