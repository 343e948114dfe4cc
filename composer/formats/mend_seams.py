"""Vertices doubled along texture seams, as renderers and games want them, made one again."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.formats.weld import first_of_each
from composer.geometry.polygons import Polygons


def welds(polygons: Polygons, positions: NDArray, wanted: int) -> Iterator[tuple[NDArray[np.intp], Polygons]]:
    """Ways to weld a mesh to `wanted` vertices: the vertex kept of each place (wanted,), and the welded polygons.

    First only vertices on open borders, which is where a seam splits a surface, so that lips that touch stay two;
    then whatever shares a place. Positions (n, 3) in any unit; vertices that share a place must do so exactly.
    """
    place = first_of_each(np.asarray(positions, dtype=np.float64))[1]
    alone = place.max(initial=-1) + 1 + np.arange(len(place))
    for label in (np.where(polygons.border_vertices, place, alone), place):
        kept, number = first_of_each(label[:, None])
        if len(kept) == wanted:
            yield kept, Polygons(polygons.counts, number[polygons.indices], wanted)
