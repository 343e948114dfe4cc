"""How the topology of two meshes differs: the common faults of libraries and sculpts.

Connectivity shows most of them: numbers of vertices and polygons, the same polygons in another order or
turned over, polygons cut into triangles, vertices doubled along texture seams, or the same mesh under
another numbering. The last is recognised without a numbering: each vertex gets a signature from its
polygons' sizes and its neighbours' signatures, refined a few times (Weisfeiler and Lehman 1968), and the
two bags of signatures are compared. Equal bags do not prove that the meshes are the same, so the messages
say "as if".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons

Kind = Literal[
    "count",
    "polygons",
    "polygon order",
    "corner order",
    "turned over",
    "triangulated",
    "seam-split",
    "shuffled",
    "scrambled",
]

ROUNDS = 4
"""Rounds of refinement: signatures reach four edges far. A design choice, no source."""
HALF_LONGER, SOME_LONGER = 2.0, 8.0
"""Vertices are in another order if half of all edges are HALF_LONGER times as long, or the SOME percentile of them
SOME_LONGER times, after a change of the whole size: an expression stretches few edges, and none as much (common
practice, no source).
"""
CORNERS = 10_000
"""Sides that are measured at least, where there are so many; it limits time only."""
SOME = 85.0
"""The percentile that must reach SOME_LONGER."""


@dataclass(frozen=True)
class OrderDifference:
    """A difference: its `kind`, and its `words`, a sentence without its subject ("has ...")."""

    kind: Kind
    words: str


def order_difference(
    reference: Polygons,
    other: Polygons,
    reference_positions: NDArray | None = None,
    other_positions: NDArray | None = None,
) -> OrderDifference | None:
    """How `other` differs from `reference`, None where it is the same mesh in the same order.

    With positions (n, 3), in any one unit, seams are recognised by place, and a file with the right
    polygons over vertices in another order is told apart from an expression ("scrambled").
    """
    if reference.same_as(other):
        return _scrambled(reference, reference_positions, other_positions)
    same_faces = reference.n_faces == other.n_faces
    if reference.n_vertices == other.n_vertices:
        if same_faces and np.array_equal(reference.counts, other.counts):
            found = _same_sizes(reference, other)
        else:
            found = _cut(reference, other) or _reordered(reference, other)
        if found:
            return found
        if _signatures_agree(reference, other):
            return OrderDifference("shuffled", "has its vertices shuffled, as if numbered by another program")
    elif other.n_vertices > reference.n_vertices:
        found = _seam_split(reference, other, other_positions)
        if found:
            return found
    else:
        found = _seam_split(other, reference, reference_positions)
        if found:
            merged = reference.n_vertices - other.n_vertices
            return OrderDifference("seam-split", f"has {merged} vertices fewer, as if doubles at seams were merged")
    if reference.n_vertices != other.n_vertices:
        return OrderDifference("count", f"has {_size(other)}, not {_size(reference)}")
    if not same_faces:
        sizes = f"{other.n_faces} polygons over the same {other.n_vertices} vertices"
        return OrderDifference("polygons", f"has {sizes}, not {reference.n_faces}")
    return OrderDifference("polygons", _first_other(reference, other))


def _size(polygons: Polygons) -> str:
    return f"{polygons.n_vertices} vertices and {polygons.n_faces} polygons"


def _first_other(reference: Polygons, other: Polygons) -> str:
    counts = reference.counts != other.counts
    face = int(np.argmax(counts)) if counts.any() else reference.n_faces
    shared = int(reference.starts[face])
    differ = np.flatnonzero(reference.indices[:shared] != other.indices[:shared])
    if len(differ):
        face = int(reference.corner_face[differ[0]])
    return f"has other polygons from polygon {face} on, over the same {other.n_vertices} vertices"


def _same_sizes(reference: Polygons, other: Polygons) -> OrderDifference | None:
    a, b = _canonical(reference), _canonical(other)
    if np.array_equal(a, b):
        return OrderDifference("corner order", "has the same polygons, each begun at another corner")
    if np.array_equal(a, _canonical(_turned(other))):
        return OrderDifference("turned over", "has the same polygons turned over, inside out")
    return _reordered(reference, other)


def _reordered(reference: Polygons, other: Polygons) -> OrderDifference | None:
    if reference.n_faces != other.n_faces or len(reference.indices) != len(other.indices):
        return None
    if np.array_equal(np.sort(_face_keys(reference)), np.sort(_face_keys(other))):
        return OrderDifference("polygon order", "has the same polygons in another order")
    return None


def _canonical(polygons: Polygons) -> NDArray[np.int32]:
    """The indices with every polygon rotated to start at its lowest vertex."""
    starts = polygons.starts[:-1]
    if not len(starts):
        return polygons.indices
    lowest = np.repeat(np.minimum.reduceat(polygons.indices, starts), polygons.counts)
    within = np.arange(len(polygons.indices)) - np.repeat(starts, polygons.counts)
    at = np.where(polygons.indices == lowest, within, np.iinfo(np.int32).max)
    offset = np.repeat(np.minimum.reduceat(at, starts), polygons.counts)
    size = np.repeat(polygons.counts, polygons.counts)
    return polygons.indices[np.repeat(starts, polygons.counts) + (within + offset) % size]


def _turned(polygons: Polygons) -> Polygons:
    within = np.arange(len(polygons.indices)) - np.repeat(polygons.starts[:-1], polygons.counts)
    last = np.repeat(polygons.starts[1:] - 1, polygons.counts)
    return Polygons(polygons.counts, polygons.indices[last - within], polygons.n_vertices)


def _face_keys(polygons: Polygons) -> NDArray[np.uint64]:
    """(f,) a hash of the set of vertices of each polygon, the same for any start and winding."""
    if not polygons.n_faces:
        return np.zeros(0, dtype=np.uint64)
    mixed = _mixed(polygons.indices.astype(np.uint64) + np.uint64(1))
    return np.add.reduceat(mixed, polygons.starts[:-1])


def _mixed(value: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A hash of 64-bit numbers (splitmix64; Steele, Lea and Flood 2014)."""
    z = value + np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


def _cut(reference: Polygons, other: Polygons) -> OrderDifference | None:
    """Whether `other` is the reference with its polygons cut into triangles, or the other way round."""
    if _are_triangles(other, of=reference) and _within(reference, other):
        return OrderDifference("triangulated", "has its polygons cut into triangles")
    if _are_triangles(reference, of=other) and _within(other, reference):
        return OrderDifference("triangulated", "has polygons where the reference has triangles")
    return None


def _are_triangles(polygons: Polygons, of: Polygons) -> bool:
    """Whether these are triangles, and as many as a triangulation of `of` has."""
    return 0 < polygons.n_faces == len(of.triangles) and int(polygons.counts.max()) == 3


def _within(polygons: Polygons, triangles: Polygons) -> bool:
    """Whether the triangles are a cut of the polygons: the edges of the polygons are among theirs, and the
    borders agree.
    """
    n = np.int64(polygons.n_vertices)
    mine = polygons.edges[:, 0] * n + polygons.edges[:, 1]
    theirs = triangles.edges[:, 0] * n + triangles.edges[:, 1]
    if not np.isin(mine, theirs).all():
        return False
    return np.array_equal(mine[polygons.edge_use == 1], theirs[triangles.edge_use == 1])


def _seam_split(whole: Polygons, split: Polygons, positions: NDArray | None) -> OrderDifference | None:
    """Whether `split` is `whole` with some vertices doubled, in any order: merged by place it is the same mesh.
    """
    if positions is None or len(split.indices) < len(whole.indices):
        return None
    _, merged = np.unique(np.ascontiguousarray(positions), axis=0, return_inverse=True)
    merged = merged.reshape(-1).astype(np.int32)
    used = np.unique(merged)
    if int(merged.max()) + 1 != whole.n_vertices and len(used) != whole.n_vertices:
        return None
    welded = Polygons(split.counts, merged[split.indices], int(merged.max()) + 1)
    doubled = split.n_vertices - whole.n_vertices
    if np.array_equal(np.sort(whole.counts), np.sort(split.counts)):
        if _signatures_agree(whole, welded):
            return OrderDifference("seam-split", f"has {doubled} vertices more, as if split at texture seams")
    elif split.n_faces == len(whole.triangles) and _bags_of_valence_allow(whole, welded):
        return OrderDifference(
            "seam-split", f"has {doubled} vertices more and triangles, as if split at texture seams and cut"
        )
    return None


def _bags_of_valence_allow(whole: Polygons, cut: Polygons) -> bool:
    """Whether valences allow a cut, which adds one edge for each triangle more than polygons, and removes none."""
    return len(cut.edges) - len(whole.edges) == cut.n_faces - whole.n_faces


def _signatures_agree(a: Polygons, b: Polygons) -> bool:
    if a.n_vertices != b.n_vertices or a.n_faces != b.n_faces or len(a.edges) != len(b.edges):
        return False
    return np.array_equal(np.sort(_signatures(a)), np.sort(_signatures(b)))


def _signatures(polygons: Polygons) -> NDArray[np.uint64]:
    """(n,) a hash of the neighbourhood of each vertex that does not depend on the numbering."""
    size = np.repeat(polygons.counts, polygons.counts).astype(np.uint64)
    value = _summed(polygons.indices, _mixed(size), polygons.n_vertices)
    for _ in range(ROUNDS):
        around = _mixed(value)
        beside = _summed(polygons.edges[:, 0], around[polygons.edges[:, 1]], polygons.n_vertices)
        beside += _summed(polygons.edges[:, 1], around[polygons.edges[:, 0]], polygons.n_vertices)
        value = _mixed(value * np.uint64(3) + beside)
    return value


def _summed(index: NDArray, value: NDArray[np.uint64], n: int) -> NDArray[np.uint64]:
    out = np.zeros(n, dtype=np.uint64)
    np.add.at(out, index, value)
    return out


def _scrambled(polygons: Polygons, reference: NDArray | None, other: NDArray | None) -> OrderDifference | None:
    if reference is None or other is None or not len(polygons.indices):
        return None
    (rest, size_rest), (now, size_now) = _known_sides(polygons, reference), _sides(polygons, other)
    if not size_rest > 0 or not size_now > 0:
        return None
    rest, now = rest / size_rest, now / size_now
    times = now / np.maximum(rest, 1e-6)
    half, some = float(np.median(times)), float(np.percentile(times, SOME))
    if half < HALF_LONGER and some < SOME_LONGER:
        return None
    longer = f"half of its edges {half:.1f}" if half >= HALF_LONGER else f"many of its edges {some:.0f}"
    return OrderDifference(
        "scrambled", f"has {longer} times as long: the same polygons over vertices in another order"
    )


def _known_sides(polygons: Polygons, reference: NDArray) -> tuple[NDArray[np.float64], float]:
    """As `_sides`; the last of each topology is kept, since many files are compared with one reference."""
    known = _KNOWN.get(polygons)
    if known is None or known[0] is not reference:
        known = _KNOWN[polygons] = reference, _sides(polygons, reference)
    return known[1]


_KNOWN: WeakKeyDictionary[Polygons, tuple[NDArray, tuple[NDArray[np.float64], float]]] = WeakKeyDictionary()
"""The sides measured last on each topology, with the positions that they belong to."""


def _sides(polygons: Polygons, positions: NDArray) -> tuple[NDArray[np.float64], float]:
    """Lengths of the sides at some CORNERS, evenly spread, and the longest side of the box about them."""
    step = max(1, len(polygons.indices) // CORNERS) | 1  # odd, so that no corner of a square is always left out
    corner = np.arange(0, len(polygons.indices), step)
    begin = positions[polygons.indices[corner]].astype(np.float64)
    way = positions[polygons.indices[polygons.next_corner[corner]]] - begin
    return np.sqrt(np.einsum("ij,ij->i", way, way)), max(float(np.ptp(column)) for column in begin.T)
