"""Matching the vertex order of two meshes by connectivity.

Each piece is walked (`order_walk`) from a seed (`order_seeds`). Where connectivity allows several matches (an eyeball
turned about its axis is the same mesh; two eyeballs are alike), a landmark decides, else texture coordinates, else the
positions of vertices. If none of these decides, the match is refused, never guessed. The winding of the polygons
separates left from right; an inside-out copy is recognised.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.half_edges import HalfEdges, turned_over
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.rigid import similarity
from composer.head.head import TextureCoordinates
from composer.head.order_matching import Matching
from composer.head.order_ranking import Evidence
from composer.head.order_walk import Disagreement

Decided = Literal["connectivity", "landmark", "uv", "geometry"]
INSIDE_OUT = 0.05
"""The opposite winding is also tried if the matched vertices lie further apart than this fraction of the head's
diagonal after the best rigid motion: the other mesh may be mirrored (common practice, no source).
"""
SAMPLE = 50_000
"""The number of evenly spread vertices by which a match is measured; it limits time only."""


class OrderMismatch(MoueError):
    """Two meshes that are not one mesh in two orders; `place` is their first difference."""

    def __init__(self, place: Disagreement | None, words: str) -> None:
        self.place = place
        super().__init__(words)


@dataclass(frozen=True, eq=False)
class OrderMatch:
    """The match of the reference to the other mesh; all arrays are read-only.

    `vertices` (n,) the other's vertex of each of the reference's, so that `positions[vertices]` is in the reference's
    order; `polygons` (f,) and `corners` (k,) likewise. `turned`: the other is inside out. `decided` names what chose
    among several matches of some piece, "connectivity" where there was only one.
    """

    vertices: NDArray[np.int32]
    polygons: NDArray[np.int32]
    corners: NDArray[np.int32]
    turned: bool = False
    decided: Decided = "connectivity"


def match_order(
    reference: Polygons,
    other: Polygons,
    positions: NDArray | None = None,
    other_positions: NDArray | None = None,
    uv: TextureCoordinates | None = None,
    other_uv: TextureCoordinates | None = None,
    landmarks: NDArray | None = None,
) -> OrderMatch:
    """Match the vertices, polygons and corners of `other` to those of `reference`.

    `positions` and `other_positions` (n, 3), each in one unit and any pose of the head, decide where connectivity
    allows several matches; so do texture coordinates, and `landmarks` (m, 2): pairs of a vertex of the reference and
    its match. Raises OrderMismatch, with the first difference in words, for another mesh, and MoueError where several
    matches fit equally well.

    >>> import numpy as np
    >>> strip = Polygons.from_faces([[0, 1, 4, 3], [1, 2, 5, 4], [4, 5, 6]], 7)
    >>> order = np.array([6, 4, 2, 0, 1, 3, 5])  # vertex i of the strip is vertex order[i] of the other
    >>> other = Polygons.from_faces([order[strip.face(i)].tolist() for i in (2, 0, 1)], 7)
    >>> match = match_order(strip, other)
    >>> match.vertices.tolist(), match.decided
    ([6, 4, 2, 0, 1, 3, 5], 'connectivity')
    """
    here = HalfEdges(reference)
    evidence = Evidence(positions, other_positions, uv, other_uv, landmarks)
    sizes = _sizes(reference, other)
    straight = _attempt(here, HalfEdges(other), evidence)
    off = _off(straight, positions, other_positions)
    if not sizes and off > INSIDE_OUT:
        over, same = turned_over(other)
        theirs = replace(evidence, other_uv=_corners_taken(other_uv, same))
        turned = _attempt(here, HalfEdges(over), theirs)
        if _off(turned, positions, other_positions) < 0.5 * off:
            return _as_match(turned, same)
    if sizes or not straight.complete:
        raise _refused(straight, sizes)
    return _as_match(straight, None)


def _sizes(reference: Polygons, other: Polygons) -> str:
    if reference.n_vertices != other.n_vertices:
        return f"has {other.n_vertices} vertices, the reference {reference.n_vertices}"
    if reference.n_faces != other.n_faces:
        return f"has {other.n_faces} polygons, the reference {reference.n_faces}"
    return ""


def _attempt(here: HalfEdges, there: HalfEdges, evidence: Evidence) -> Matching:
    matching = Matching(here, there, evidence)
    matching.run()
    return matching


def _off(matching: Matching, positions: NDArray | None, other_positions: NDArray | None) -> float:
    """RMS distance of the matched vertices after the best motion, relative to the diagonal; inf without a match."""
    if not matching.complete:
        return np.inf
    if positions is None or other_positions is None or not len(positions):
        return 0.0
    some = np.arange(0, len(positions), max(1, len(positions) // SAMPLE))
    mine, moved = np.asarray(positions)[some], np.asarray(other_positions)[matching.walk.vertex[some]]
    left = mine - similarity(moved, mine)(moved)
    size = float(np.linalg.norm(np.ptp(mine, axis=0))) or 1.0
    return float(np.sqrt((left * left).sum(axis=1).mean())) / size


def _corners_taken(uv: TextureCoordinates | None, corners: NDArray) -> TextureCoordinates | None:
    return None if uv is None else TextureCoordinates(uv.uv, uv.indices[corners])


def _as_match(matching: Matching, same: NDArray | None) -> OrderMatch:
    corner = matching.corner if same is None else same[matching.corner].astype(np.int32)
    return OrderMatch(
        read_only(matching.walk.vertex), read_only(matching.walk.polygon), read_only(corner), same is not None,
        matching.decided,
    )  # fmt: skip


def _refused(matching: Matching, sizes: str) -> MoueError:
    if matching.ambiguous is not None and not sizes:
        piece, ways = matching.ambiguous
        return MoueError(
            f"fits in {ways} ways, and nothing decides between them (the piece of polygon {piece})",
            hint="a landmark on that piece decides, or texture coordinates",
        )
    place = matching.part()
    if place is None:
        return OrderMismatch(None, sizes or "is another mesh")
    first = f"polygon {place.polygon} of the reference has {place.words} (polygon {place.other_polygon})"
    if place.polygon < 0:
        first = f"has {place.words}, the first of them polygon {place.other_polygon}"
    elif place.other_polygon < 0:
        first = f"the reference has {place.words} (polygon {place.polygon})"
    return OrderMismatch(place, f"{sizes}; {first}" if sizes else first)
