"""Mirror partners by place: pieces are paired, then vertices within a pair, then the rest across known edges.

Place alone is not reliable: on a head that is bent by a few millimetres it is wrong by one row of vertices. So the
result is used only where `PlacedMirror.whole` holds, that is where every polygon maps to a polygon with the opposite
winding. Otherwise the share of edges kept decides piece by piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.geometry.half_edges import HalfEdges
from composer.geometry.polygons import Polygons

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
REFLECTION = np.array([-1.0, 1.0, 1.0])
NEAR = 0.35
"""The reflection of a vertex's partner lies within this fraction of the mean length of its edges. Our choice: with 0.5
and more, neighbours on an asymmetric head are confused.
"""
NEAREST = 0.5
"""The same where the nearest vertex is taken without help of connectivity. Our choice."""
CLEAR = 2.0
"""The second nearest vertex must be this many times as far as the nearest. Our choice."""
EXACT = 0.1
"""The same for partners that need no polygon as a witness. Our choice: a row of vertices is ten times as far."""
SAME_PLACE = 1e-5
"""Vertices within this fraction of the head's diagonal share a place (lips closed at rest). Our choice."""
CANDIDATES = 4
"""The number of pieces nearest to a piece's reflection that are compared with it. Our choice."""
SELF_FAR = 0.5
"""A piece further than this fraction of its own diagonal from a mirror image is not its partner. Our choice."""
SAMPLE = 500
"""The number of evenly spread vertices of a piece that are compared; it limits time only."""


class EdgeMap:
    """The directed edges of a mesh, for finding the corner at which an edge between two vertices starts."""

    def __init__(self, mesh: HalfEdges) -> None:
        self.mesh, self._n = mesh, mesh.polygons.n_vertices
        self.begin = mesh.vertex.astype(np.int64)
        self.end = self.begin[mesh.following]
        key = self.begin * self._n + self.end
        self._order = np.argsort(key, kind="stable")
        self._sorted = key[self._order]

    def corner(self, begin: NDArray, end: NDArray) -> Ints:
        """(k,) the corner whose edge runs from `begin` (k,) to `end` (k,), -1 where there is none."""
        key = np.where((begin >= 0) & (end >= 0), begin * self._n + end, -1)
        if not len(self._sorted):
            return np.full(len(key), -1)
        at = np.minimum(np.searchsorted(self._sorted, key), len(self._sorted) - 1)
        return np.where(self._sorted[at] == key, self._order[at], -1)

    def images(self, partner: NDArray) -> Ints:
        """(k,) for each corner the corner of the mirrored edge under a map (n,) of vertices; -1 where there is none."""
        return self.corner(partner[self.end], partner[self.begin])

    def kept(self, partner: NDArray) -> NDArray[np.bool_]:
        """(k,) whether a map (n,) of vertices maps the edge of a corner, and the next of its polygon, to a polygon."""
        image = self.images(partner)
        following = image[self.mesh.following]
        return (image >= 0) & (following == np.where(image >= 0, self.mesh.before[image], -2))

    def is_whole(self, partner: NDArray) -> bool:
        """Whether a map (n,) of vertices, -1 for none, is its own inverse and maps every polygon to one turned over."""
        return bool((partner[self.begin] >= 0).all() and is_involution(partner) and self.kept(partner).all())

    def whole_pieces(self, partner: NDArray, clear: NDArray) -> Ints:
        """(k,) `images` on the `clear` pieces (c,) that a map (n,) takes to another and back with all of their
        polygons; -1 on all others."""
        images, piece = self.images(partner), self.mesh.polygons.components[self.mesh.vertex]
        lost = ~clear
        lost[piece[~self.kept(partner)]] = True
        back = partner[partner[self.begin]] != self.begin
        lost[piece[back]] = True
        lost[piece[(images >= 0) & lost[piece[images]]]] = True
        return np.where(lost[piece], -1, images)

    def kept_edges(self, partner: NDArray) -> NDArray[np.bool_]:
        """(k,) whether a map (n,) of vertices maps the edge of a corner to an edge, in whichever direction."""
        begin, end = partner[self.begin], partner[self.end]
        return (self.corner(end, begin) >= 0) | (self.corner(begin, end) >= 0)


@dataclass(frozen=True, eq=False)
class PlacedMirror:
    """`partner` (n,), -1 for none; `other` (c,) the piece that mirrors each of
    `Polygons.components`, `clear` (c,) whether no other piece comes near to being it; `whole` whether every polygon
    maps to one with the opposite winding."""

    partner: Ints
    other: Ints
    clear: NDArray[np.bool_]
    whole: bool


def mirror_by_place(
    edges: EdgeMap, points: NDArray, target: NDArray, known: NDArray | None = None
) -> PlacedMirror:  # fmt: skip
    """Partners by place, completed across edges; O(n log n).

    `points` (n, 3) in any unit; `target` (n, 3) is the expected mirror image of each vertex, such as its reflection.
    Partners in `known` (n,), -1 for others, are kept.
    """
    polygons = edges.mesh.polygons
    other, clear = _paired_pieces(polygons, points, target, known)
    if known is not None:
        target = _centred(polygons.components, points, target, other, known)
    partner = _agreeing(edges, _certain(polygons, points, target, other))
    if known is not None:
        taken = known >= 0
        partner = np.where(taken, known, np.where(taken[partner], -1, partner))
    _across_edges(edges, partner)
    return PlacedMirror(partner, other, clear, edges.is_whole(partner))


def is_involution(partner: NDArray) -> bool:
    """Whether every vertex that has a partner (n,) is its partner's partner."""
    known = np.flatnonzero(partner >= 0)
    return bool((partner[partner[known]] == known).all())


def is_exact(polygons: Polygons, points: NDArray, target: NDArray, partner: NDArray) -> bool:
    """Whether every vertex of a polygon has a partner (n,), its own inverse, that lies in the place of its `target`
    (n, 3) to within EXACT of its edges. Such partners are right even where polygons do not mirror, as where squares
    are cut into triangles the same way on both sides.
    """
    used = np.zeros(len(points), dtype=bool)
    used[polygons.indices] = True
    if (partner[used] < 0).any() or not is_involution(partner):
        return False
    away = np.linalg.norm(points[partner[used]] - target[used], axis=1)
    return bool((away <= EXACT * edge_lengths(polygons, points)[used]).all())


def _paired_pieces(
    polygons: Polygons, points: NDArray, target: NDArray, known: NDArray | None
) -> tuple[Ints, NDArray[np.bool_]]:
    """(c,) for each connected piece its partner: the piece of its size nearest to its mirror image; and (c,) whether
    that is clear.

    Sizes are counts of vertices and corners. The best pairs are taken first; a piece may be its own partner.
    """
    piece = polygons.components
    count = int(piece.max(initial=-1)) + 1
    order = np.argsort(piece, kind="stable")
    starts = np.concatenate([[0], np.cumsum(np.bincount(piece, minlength=count))])
    corners = np.bincount(piece[polygons.indices], minlength=count)
    _, kind = np.unique(np.stack([np.diff(starts), corners], axis=1), axis=0, return_inverse=True)
    kind = kind.reshape(-1)
    other, clear = np.full(count, -1), np.ones(count, dtype=bool)
    if known is not None:
        held = np.flatnonzero(known >= 0)
        other[piece[held]] = piece[known[held]]
    for same in np.flatnonzero(np.bincount(kind, minlength=1) > 1):
        members = np.flatnonzero((kind == same) & (other < 0))
        if len(members) and corners[members[0]]:  # vertices of no polygon are paired by place, all together
            vertices = [order[starts[c] : starts[c + 1]] for c in members]
            paired, clear[members] = _paired([points[v] for v in vertices], [target[v] for v in vertices])
            other[members] = members[paired]
    return np.where(other < 0, np.arange(count), other), clear


def _paired(pieces: list[Floats], images: list[Floats]) -> tuple[Ints, NDArray[np.bool_]]:
    """(m,) the partner of each of m pieces of one size, paired by distance of the mirror image, nearest pairs first;
    and (m,) whether both of a pair are CLEAR times as far from all others."""
    m, size = len(pieces), len(pieces[0])
    centre, wanted = (np.array([each.mean(axis=0) for each in group]) for group in (pieces, images))
    near = cKDTree(centre).query(wanted, k=min(CANDIDATES, m))[1].reshape(m, -1)
    apart = 4.0 * float(np.linalg.norm(np.ptp(np.vstack([*pieces, *images]), axis=0))) or 1.0
    layers = apart * np.arange(m)  # a fourth coordinate keeps the pieces apart, so that one tree serves all of them
    tree = cKDTree(np.column_stack([np.concatenate(pieces), np.repeat(layers, size)]))
    sample = np.array(images)[:, :: max(1, size // SAMPLE)]
    far = []
    for place in range(near.shape[1]):
        layer = np.broadcast_to(layers[near[:, place], None, None], (*sample.shape[:2], 1))
        found = tree.query(np.concatenate([sample, layer], axis=2).reshape(-1, 4))[0]
        far.append(np.quantile(found.reshape(m, -1), 0.9, axis=1))
    partner = np.full(m, -1)
    first, second = np.repeat(np.arange(m), near.shape[1]), near.ravel()
    away = np.column_stack(far)
    for at in np.lexsort((second, first, away.ravel())):
        i, j = first[at], second[at]
        if partner[i] < 0 and partner[j] < 0:
            partner[i], partner[j] = j, i
    ranked = np.sort(away, axis=1)
    clear = near[np.arange(m), away.argmin(axis=1)] == partner
    if near.shape[1] > 1:
        clear &= ranked[:, 1] > CLEAR * ranked[:, 0]
    return np.where(partner < 0, np.arange(m), partner), clear & clear[partner]


def _centred(piece: NDArray, points: NDArray, target: NDArray, other: Ints, known: NDArray) -> Floats:
    """(n, 3) the targets; those of a piece without a known partner are moved to the centre of its mirror piece.

    Partners are one to one, so both centres are means of the same vertices.
    """
    off = piece_means(piece, points)[other] - piece_means(piece, target)
    off[piece[known >= 0]] = 0.0
    off[np.linalg.norm(off, axis=1) > SELF_FAR * piece_diagonals(piece, points)] = 0.0
    return np.asarray(target + off[piece], dtype=np.float64)


def piece_means(piece: NDArray, vectors: NDArray) -> Floats:
    """(c, 3) the mean of vectors (n, 3) by the piece (n,) of each."""
    count = np.maximum(np.bincount(piece), 1)[:, None]
    return np.stack([np.bincount(piece, weights=vectors[:, i]) for i in range(3)], axis=1) / count


def piece_diagonals(piece: NDArray, points: NDArray) -> Floats:
    """(c,) the diagonal of each piece's bounding box."""
    count = int(piece.max(initial=-1)) + 1
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, piece, points)
    np.maximum.at(high, piece, points)
    return np.asarray(np.linalg.norm(high - low, axis=1), dtype=np.float64)


def edge_lengths(polygons: Polygons, points: NDArray) -> Floats:
    """(n,) the mean length of the edges at each vertex, 0 where there is none."""
    ends = polygons.edges
    length = np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1)
    total = np.bincount(ends.ravel(), weights=np.repeat(length, 2), minlength=len(points))
    return np.asarray(total / np.maximum(np.bincount(ends.ravel(), minlength=len(points)), 1), dtype=np.float64)


def image_neighbours(
    polygons: Polygons, points: NDArray, target: NDArray, other: NDArray
) -> tuple[Floats, Ints]:  # fmt: skip
    """(n, 2) the distances of the two vertices of the mirror piece nearest to each `target` (n, 3), and their indices.

    `other` (c,) is the mirror piece of each piece. Vertices of no polygon are searched among all of their kind.
    """
    size = float(np.linalg.norm(np.ptp(points, axis=0))) or 1.0
    loose = np.ones(len(points), dtype=bool)
    loose[polygons.indices] = False
    apart = 4.0 * size  # a fourth coordinate keeps the pieces apart, so that one tree serves all of them
    layer = np.where(loose, -1.0, polygons.components) * apart
    wanted = np.where(loose, -1.0, other[polygons.components]) * apart
    tree = cKDTree(np.column_stack([points, layer]))
    away, near = tree.query(np.column_stack([target, wanted]), k=2)
    return away, np.minimum(near, len(points) - 1)  # a piece of one vertex has no second


def _certain(polygons: Polygons, points: NDArray, target: NDArray, other: NDArray) -> Ints:
    """(n,) partners that are mutual, near and clear; -1 for the others."""
    n = len(points)
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    away, near = image_neighbours(polygons, points, target, other)
    size = float(np.linalg.norm(np.ptp(points, axis=0))) or 1.0
    mutual = near[near[:, 0], 0] == np.arange(n)
    close = away[:, 0] <= NEAR * edge_lengths(polygons, points)
    clear = away[:, 1] > CLEAR * away[:, 0] + SAME_PLACE * size
    both = mutual & close & clear
    both &= both[near[:, 0]]
    return np.where(both, near[:, 0], -1)


def _agreeing(edges: EdgeMap, partner: NDArray) -> Ints:
    """(n,) for each piece the largest patch of partners (n,) in which edges map to edges; -1 elsewhere.

    On an asymmetric piece some partners are wrong by one row; they agree with each other and not with the rest.
    """
    polygons = edges.mesh.polygons
    n, ends = len(partner), polygons.edges.astype(np.int64)
    image = partner[ends]
    both = (image >= 0).all(axis=1)
    image, ends = image[both], ends[both]
    kept = (edges.corner(image[:, 0], image[:, 1]) >= 0) | (edges.corner(image[:, 1], image[:, 0]) >= 0)
    known = np.flatnonzero(partner >= 0)
    rows = np.concatenate([ends[kept, 0], known])
    columns = np.concatenate([ends[kept, 1], partner[known]])
    graph = sp.coo_matrix((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(n, n))
    patch = connected_components(graph, directed=False)[1]
    piece = polygons.components[known]
    pairs, where, size = np.unique(
        np.stack([piece, patch[known]], axis=1), axis=0, return_inverse=True, return_counts=True
    )
    order = np.lexsort((pairs[:, 1], size, pairs[:, 0]))
    last = np.append(np.diff(pairs[order, 0]) != 0, True)[: len(order)]
    best = np.zeros(len(pairs), dtype=bool)
    best[order[last]] = True
    agreed = np.full(n, -1)
    held = known[best[where.reshape(-1)]]
    agreed[held] = partner[held]
    return agreed


def _across_edges(edges: EdgeMap, partner: Ints) -> None:
    """Complete a map (n,) in place: two known ends of an edge give the polygon beside it."""
    mesh = edges.mesh
    counts = mesh.polygons.counts
    open_before = len(mesh.vertex) + 1
    while True:
        open_ = partner[mesh.vertex] < 0
        if not open_.any() or int(open_.sum()) >= open_before:
            return
        open_before = int(open_.sum())
        face_open = np.zeros(mesh.polygons.n_faces, dtype=bool)
        face_open[mesh.face[open_]] = True
        corner = np.flatnonzero(face_open[mesh.face] & ~open_ & (partner[edges.end] >= 0))
        image = edges.corner(partner[edges.end[corner]], partner[edges.begin[corner]])
        fits = (image >= 0) & (counts[mesh.face[corner]] == counts[mesh.face[np.maximum(image, 0)]])
        corner, image = corner[fits], image[fits]
        along, back, left = mesh.following[corner], image, counts[mesh.face[corner]] - 2
        while len(along):
            along, back = mesh.following[along], mesh.before[back]
            one, two = edges.begin[along], edges.begin[back]
            new = (partner[one] < 0) & (partner[two] < 0)
            partner[one[new]] = two[new]
            partner[two[new]] = one[new]
            left = left - 1
            more = left > 0
            along, back, left = along[more], back[more], left[more]
        known = np.flatnonzero(partner >= 0)
        partner[known[partner[partner[known]] != known]] = -1  # two polygons disagree: neither is used
