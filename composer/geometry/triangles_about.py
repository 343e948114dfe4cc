"""The triangles at each vertex of a surface: found once, so that looking about a place costs what lies there."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Surface


class TrianglesAbout:
    """The table of one surface: `surface.derived(TrianglesAbout)`."""

    def __init__(self, surface: Surface) -> None:
        corner = surface.triangles.reshape(-1)
        self._triangle = (np.argsort(corner, kind="stable") // 3).astype(np.int32)
        self._starts = np.zeros(surface.n_vertices + 1, dtype=np.int64)
        np.cumsum(np.bincount(corner, minlength=surface.n_vertices), out=self._starts[1:])

    def of(self, vertices: NDArray) -> NDArray[np.int64]:
        """(k,) the triangles with a corner among `vertices` (m,), ascending, each once."""
        count = self._starts[vertices + 1] - self._starts[vertices]
        rows = np.repeat(self._starts[vertices] - (np.cumsum(count) - count), count) + np.arange(int(count.sum()))
        return np.unique(self._triangle[rows]).astype(np.int64)
