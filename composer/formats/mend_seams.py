"""Vertices that a program doubled along texture seams, welded."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.formats.weld import first_of_each
from composer.geometry.polygons import Polygons


def welds(polygons: Polygons, positions: NDArray, wanted: int) -> Iterator[tuple[NDArray[np.intp], Polygons]]:
    """Welds of a mesh to `wanted` vertices: the vertex kept at each position (wanted,), and the welded polygons.

    The first welds vertices on open borders only: a seam splits the surface there, and lips that touch stay apart. The
    second welds all vertices that share a position. `positions` (n, 3) in any unit are compared exactly.
    """
    place = first_of_each(np.asarray(positions, dtype=np.float64))[1]
    alone = place.max(initial=-1) + 1 + np.arange(len(place))
    for label in (np.where(polygons.border_vertices, place, alone), place):
        kept, number = first_of_each(label[:, None])
        if len(kept) == wanted:
            yield kept, Polygons(polygons.counts, number[polygons.indices], wanted)
