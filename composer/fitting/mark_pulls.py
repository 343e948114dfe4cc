"""How landmarks pull on the skin while it bends: points towards their places, curves square to their lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.fitting.align import Pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.curves import on_polyline
from composer.fitting.skin import Skin

Rows = NDArray[np.float64]
Blocks = NDArray[np.float64]

CURVE = 2.0
"""Standard deviation of a place of a curve, across the curve, in those of a point (our choice)."""
PINNED = 1e-3
"""Standard deviation of a pinned point, in those of other points: it holds within a micrometre (our choice)."""


@dataclass(frozen=True, eq=False)
class MarkPulls:
    """The landmarks of one fit. `at` (k, s) is sparse and gives the place of each on the cage of s vertices: `points`
    (p, 3) are the targets of the first p, and `lines` the rows of each curve with the polyline along which they slide.
    `deviation` (k,) is the standard deviation of each, mm.
    """

    at: sp.csr_matrix
    points: Rows
    lines: tuple[tuple[slice, Rows], ...]
    deviation: Rows

    @classmethod
    def of(
        cls, skin: Skin, pairs: Pairs, neutral: Rows, noise_mm: float = 1.0, pinned: Sequence[str] = ()
    ) -> MarkPulls:
        """From `pairs` whose head side lies on `neutral` (n, 3). `noise_mm` > 0 is the standard deviation of a point
        as it was placed, along each axis; points named in `pinned` hold."""
        cage = ClosestSurface(neutral[skin.vertices], skin.polygons.triangles)
        rows, columns, weights = [], [], []
        count = 0

        def add(vertices: NDArray, positions: Rows) -> None:
            nonlocal count
            known = (vertices >= 0) & (skin.rank[np.maximum(vertices, 0)] >= 0)
            closest = cage.nearby(positions)
            for i, vertex in enumerate(vertices):
                if known[i]:
                    rows.append([count])
                    columns.append([skin.rank[vertex]])
                    weights.append([1.0])
                else:
                    rows.append([count] * 3)
                    columns.append(list(cage.triangles[closest.triangle[i]]))
                    weights.append(list(closest.bary[i]))
                count += 1

        add(pairs.vertices, pairs.head)
        lines = []
        for head_line, sculpt_line, ids in pairs.curves.values():
            start = count
            add(ids, head_line)
            lines.append((slice(start, count), sculpt_line))
        value, row, column = (np.array([each for one in part for each in one]) for part in (weights, rows, columns))
        at = sp.csr_matrix((value, (row.astype(int), column.astype(int))), shape=(count, len(skin.vertices)))
        deviation = np.full(count, noise_mm)
        for rows_of_line, _ in lines:
            deviation[rows_of_line] *= CURVE
        deviation[[i for i, name in enumerate(pairs.names) if name in pinned]] *= PINNED
        return cls(at, pairs.sculpt, tuple(lines), deviation)

    def with_noise(self, ratio: float) -> MarkPulls:
        """The same with every deviation times `ratio` > 0."""
        return replace(self, deviation=self.deviation * ratio)

    def pulls(self, positions: Rows) -> tuple[Rows, Blocks, Rows]:
        """Targets (k, 3), projectors (k, 3, 3) and weights (k,) for the skin at `positions` (s, 3).

        The projector of a point is the identity. That of a place of a curve drops the direction of the line, except at
        its ends.
        """
        now = self.at @ positions
        target = np.empty_like(now)
        block = np.tile(np.eye(3), (len(now), 1, 1))
        target[: len(self.points)] = self.points
        for rows, line in self.lines:
            target[rows], along = on_polyline(now[rows], line)
            block[rows] -= along[:, :, None] * along[:, None, :]
        return target, block, 1.0 / self.deviation**2
