"""Rows that are the same, joined, in the order of their first appearance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def first_of_each(rows: NDArray) -> tuple[NDArray[np.intp], NDArray[np.int32]]:
    """For `rows` (n, w): the index of the first of each set of equal rows (m,), ascending, and each row's set (n,).

    Rows are equal where all their numbers are; 0.0 and -0.0 are equal.
    """
    clean = np.ascontiguousarray(rows) + rows.dtype.type(0)
    octets = clean.view(np.uint8).reshape(len(clean), -1)
    padded = np.zeros((len(clean), -(-octets.shape[1] // 8) * 8), dtype=np.uint8)
    padded[:, : octets.shape[1]] = octets
    words = padded.view(np.uint64)
    key = np.zeros(len(clean), dtype=np.uint64)
    for column in range(words.shape[1]):
        key = (key ^ words[:, column]) * np.uint64(0x9E3779B97F4A7C15)
        key ^= key >> np.uint64(29)
    _, first, where = np.unique(key, return_index=True, return_inverse=True)
    where = where.reshape(-1)
    if not np.array_equal(words[first[where]], words):  # two rows with one key: compare the rows themselves
        _, first, where = np.unique(words, axis=0, return_index=True, return_inverse=True)
        where = where.reshape(-1)
    rank = np.empty(len(first), dtype=np.int32)
    rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
    return np.sort(first), rank[where]
