"""Which vertex mirrors which by connectivity, walked outward from the midline, for heads that are not quite even.

The mesh is laid on itself turned over, so that left comes to lie on right. The walk begins at an edge of the midline,
which lies on itself; pieces off the midline (eyeballs, lashes) find their partner by the places of the vertices. The
quick way for heads that are exact mirror images is `composer.head.symmetry.mirror_map`.
"""

from __future__ import annotations

from collections.abc import Iterator
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.half_edges import HalfEdges, turned_over
from composer.geometry.polygons import Polygons, read_only
from composer.head.order_matching import Matching
from composer.head.order_ranking import Evidence
from composer.head.order_walk import Walk

MOST_SEEDS = 64
"""Edges of the midline that are tried: those nearest to it."""
MENDING = "lay the loops of both sides alike, or mirror without detail"


def mirror_map_by_walk(
    polygons: Polygons,
    positions: NDArray,
    midline: NDArray | None = None,
    where: str | PathLike[str] | None = None,
) -> NDArray[np.int32]:
    """(n,) int32: pi with pi[pi[v]] = v, that takes every polygon to one, turned over.

    `positions` (n, 3) in any unit, left and right on the two sides of x = 0 in the rough; `midline` (m,) vertices of
    the midline in order, where they are known. Raises MoueError, with the first polygon that has no counterpart,
    where the loops of the two sides are not alike.
    """
    points = np.ascontiguousarray(positions, dtype=np.float64)
    mesh = HalfEdges(polygons)
    over, same = turned_over(polygons)
    mirrored = HalfEdges(over)
    best: tuple[int, int, int] | None = None
    ambiguous: tuple[int, int] | None = None
    skin_fits = False
    for corner in _midline_corners(mesh, points, midline):
        partner = int(same[mesh.following[mesh.twin[corner]]])
        evidence = Evidence(points, points * (-1.0, 1.0, 1.0), start=(corner, partner))
        matching = Matching(mesh, mirrored, evidence)
        matching.run()
        found = matching.walk.vertex
        if matching.complete and np.array_equal(found[found], np.arange(len(found))):
            return read_only(found)
        ambiguous = ambiguous or matching.ambiguous
        skin_fits = bool(np.count_nonzero(matching.walk.polygon >= 0) > 0.5 * polygons.n_faces)
        if skin_fits:
            break  # the skin fits and something else does not: another seed on the midline changes nothing
        agreed = Walk(mesh, mirrored).run(corner, partner, tolerant=True).agreed
        if best is None or agreed > best[0]:
            best = agreed, corner, partner
    if ambiguous is not None:
        what = f"the piece of polygon {ambiguous[0]} has {ambiguous[1]} mirror images, and no place decides"
        raise MoueError(what, where, hint=MENDING)
    if best is None and not skin_fits:
        raise MoueError("has no edge along x = 0 from which its sides could be walked", where, hint="give the midline")
    place = None
    if best is not None and not skin_fits:
        place = Walk(mesh, mirrored).run(best[1], best[2], tolerant=True).stopped
    if place is None:
        raise MoueError("is no mirror image of itself: some piece has no partner", where, hint=MENDING)
    what = f"polygon {place.polygon} has {place.words} (its mirror polygon {place.other_polygon})"
    raise MoueError(what, where, hint=MENDING)


def _midline_corners(mesh: HalfEdges, points: NDArray, midline: NDArray | None) -> Iterator[int]:
    """Corners whose edge lies on the midline, the nearest to it first."""
    begin, end = mesh.vertex, mesh.vertex[mesh.following]
    inner = mesh.twin >= 0
    if midline is not None:
        on = np.zeros(len(points), dtype=bool)
        on[np.asarray(midline, dtype=np.int64)] = True
        yield from np.flatnonzero(inner & on[begin] & on[end])[:MOST_SEEDS].tolist()
        return
    if not inner.any():
        return
    chosen = np.flatnonzero(inner & (mesh.twin > np.arange(len(begin))))
    ends = points[begin[chosen]], points[end[chosen]]
    length = np.linalg.norm(ends[0] - ends[1], axis=1)
    off = np.maximum(np.abs(ends[0][:, 0]), np.abs(ends[1][:, 0]))
    near = chosen[np.argsort(off / np.maximum(length, 1e-12), kind="stable")[:MOST_SEEDS]]
    yield from near.tolist()
