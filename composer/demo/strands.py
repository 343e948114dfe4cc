"""Strands of hair: thin curved strips of quads that taper, as many as there are roots."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from composer.demo.body import Body, Rows


def strands(rows: Sequence[Rows], side: Rows, half_mm: Sequence[float]) -> Body:
    """Strips from root to tip through `rows` (k of (m, 3), mm), broad along the unit directions `side` (m, 3).

    `half_mm` (k,) is half the breadth at each row. Each strip has 2 k vertices; strip by strip, row by row.
    """
    count, k = len(side), len(rows)
    both = [row + sign * half * side for row, half in zip(rows, half_mm, strict=True) for sign in (-1, 1)]
    points = np.stack(both, axis=1).reshape(-1, 3)
    base = 2 * k * np.arange(count)
    quads = [np.stack([base + j, base + j + 1, base + j + 3, base + j + 2], axis=1) for j in range(0, 2 * k - 2, 2)]
    u = np.arange(count) / count
    uv = np.zeros((k - 1, count, 4, 2))
    for j, of_row in enumerate(uv):
        of_row[:, [0, 3], 0], of_row[:, [1, 2], 0] = u[:, None], u[:, None] + 0.9 / count
        of_row[:, [0, 1], 1], of_row[:, [2, 3], 1] = j / (k - 1), (j + 1) / (k - 1)
    return Body(points, np.concatenate(quads), np.arange(len(points)), uv.reshape(-1, 4, 2))


def unit(v: Rows) -> Rows:
    """(m, 3) the rows at length 1."""
    return v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), 1e-12)
