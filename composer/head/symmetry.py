"""The mirror map: the mirror image of each vertex of a head across the midline plane x = 0.

Partners by place are used where they map every polygon to one with the opposite winding, or lie exactly in their
places; else the mesh is walked from the midline, and hairs are paired by where they stand on the skin. Where the two
sides differ, each piece uses the map that keeps more of its edges. Vertices without a partner use the closest point of
the reflected surface of their piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.errors import MoueError
from composer.geometry.half_edges import HalfEdges
from composer.geometry.nearest import NearestSurface
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.levels import Refinement, refine
from composer.head.mirror_pairs import paired_on_skin
from composer.head.mirror_place import (
    NEAREST,
    REFLECTION,
    SELF_FAR,
    EdgeMap,
    PlacedMirror,
    edge_lengths,
    image_neighbours,
    is_exact,
    mirror_by_place,
    piece_diagonals,
    piece_means,
)
from composer.head.mirror_walk import MirrorWalk

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]
CENTRED = 1e-6
"""A midline within this fraction of the head's diagonal of x = 0 is at x = 0: rounding of files."""
CENTRING = 2000
"""The number of evenly spread vertices for finding the midline; it limits time only."""
CENTRING_ROUNDS = 6
"""Rounds of pairing nearest vertices and taking their middle. Our choice."""
CLEARLY = 0.002
"""The walk replaces partners by place if it keeps this fraction more of a piece's edges. Our choice: on a head bent by
0.5 mm place alone keeps 98.5 percent, the walk all.
"""
DIAGONALS = 0.5
"""A piece of which both maps keep fewer polygons than this share is judged by edges alone. Our choice: cut into
triangles the same way on both sides, a mirrored mesh keeps no triangle and two thirds of its edges.
"""
LOOSE = 1e-4
"""Vertices of no polygon are partners if one is within this fraction of the head's diagonal of the other's reflection.
Our choice.
"""
MOST_WITHOUT = 0.01
"""A recipe is refused if more than this fraction of the area that mirrored cells move has no partner. A design choice,
no source.
"""


@dataclass(frozen=True, eq=False)
class MirrorMap:
    """The mirror map of a head of n vertices.

    `partner` (n,) int32 is the vertex on the other side, its own inverse; a vertex on the midline is its own partner.
    The vertices `without` (k,) a partner have themselves in `partner`; their values come from vertices `corners` (k, 3)
    of the other side with weights `bary` (k, 3). `whole`: every polygon maps to one with the opposite winding.
    """

    partner: Ints
    without: Ints
    corners: Ints
    bary: Floats
    whole: bool = True
    parted: str = ""

    @classmethod
    def of_partners(cls, partner: NDArray) -> MirrorMap:
        """The map of given partners (n,), one for every vertex. Raises MoueError where it is no permutation."""
        given = np.asarray(partner)
        if given.ndim != 1 or not np.array_equal(np.sort(given), np.arange(len(given))):
            raise MoueError("the mirror map gives two vertices one partner")
        none = np.zeros((0, 3), dtype=np.int32)
        return cls(read_only(given.astype(np.int32)), none[:, 0], none, none.astype(np.float64))

    @property
    def n_vertices(self) -> int:
        """Vertices n of the head."""
        return len(self.partner)

    @property
    def nearest(self) -> Ints:
        """(n,) the partner of each vertex, or the nearest vertex of the other side if it has none."""
        if not len(self.without):
            return self.partner
        near = self.partner.copy()
        near[self.without] = np.take_along_axis(self.corners, self.bary.argmax(axis=1)[:, None], axis=1)[:, 0]
        return near

    def values(self, values: NDArray) -> NDArray:
        """Values (n,) or (n, m) of the other side at each vertex, of the same type."""
        image = values[self.partner]
        if len(self.without):
            weights = self.bary.reshape(self.bary.shape + (1,) * (values.ndim - 1))
            image[self.without] = (values[self.corners] * weights).sum(axis=1)
        return image

    def vectors(self, vectors: NDArray) -> NDArray:
        """(n, 3) displacements of the mirror image: those of the other side with x negated, of the same type."""
        return self.values(vectors) * REFLECTION.astype(vectors.dtype)

    def share_without(self, area: NDArray) -> float:
        """The share in [0, 1] of an area (n,), not negative, at vertices without a partner."""
        total = float(area.sum())
        return float(area[self.without].sum()) / total if total > 0.0 else 0.0

    def note(self, positions: NDArray) -> str | None:
        """A sentence on vertices without a partner, with the position (mm) of the first; None where there are none."""
        if not len(self.without):
            return None
        x, y, z = positions[int(self.without[0])]
        first = f"the first is vertex {int(self.without[0])} at x {x:.1f}, y {y:.1f}, z {z:.1f} mm"
        count = len(self.without)
        subject = "1 vertex has" if count == 1 else f"{count:,} vertices have"
        parted = f" The sides part at {self.parted}." if self.parted else ""
        return f"{subject} no mirror partner; {first}. There the closest place of the other side is mirrored.{parted}"


_FOUND: WeakKeyDictionary[Surface, MirrorMap] = WeakKeyDictionary()


def mirror_of(head: Head) -> MirrorMap:
    """The mirror map of a head's neutral, found once for all heads that share its surface. Errors as `mirror_map`."""
    if head.surface not in _FOUND:
        _FOUND[head.surface] = mirror_map(head.polygons, head.neutral, head.path)
    return _FOUND[head.surface]


def pairs_of(head: Head) -> Ints | None:
    """(n,) the partners of a head's vertices; None where more than `MOST_WITHOUT` of its area has none."""
    mirror = mirror_of(head)
    return mirror.partner if mirror.share_without(head.surface.mass) <= MOST_WITHOUT else None


def mirror_at_level(mirror: MirrorMap, steps: Sequence[Refinement], neutral: NDArray) -> MirrorMap:
    """The mirror map of a cage at the level that `steps` of subdivision reach; `neutral` (n, 3) is the cage's.

    It is computed at the level itself unless the cage's map is `whole`. Raises MoueError as `permutation`.
    """
    if not steps:
        return mirror
    if not mirror.whole:
        return mirror_map(steps[-1].polygons, refine(neutral, steps))
    partner: NDArray = mirror.partner
    for step in steps:
        partner = step.permutation(partner)
    return MirrorMap.of_partners(partner)


def mirror_map(polygons: Polygons, positions: NDArray, where: str | PathLike[str] | None = None) -> MirrorMap:
    """The mirror map of a mesh with its midline roughly at x = 0; `positions` (n, 3) in any unit.

    An asymmetric mesh is no error. Raises MoueError, with `where`, for positions that are not finite.
    """
    points = np.ascontiguousarray(positions, dtype=np.float64)
    if not np.isfinite(points).all():
        bad = int(np.flatnonzero(~np.isfinite(points).all(axis=1))[0])
        raise MoueError(f"has no position at vertex {bad}, so it cannot be mirrored", where)
    if not len(points):
        return MirrorMap.of_partners(np.zeros(0, dtype=np.int32))
    edges = EdgeMap(HalfEdges(polygons))
    centred = [points - (x, 0.0, 0.0) for x in _midlines(points)]
    for points in centred:
        found = mirror_by_place(edges, points, points * REFLECTION)
        if found.whole or is_exact(polygons, points, points * REFLECTION, found.partner):
            return _map(polygons, points, points * REFLECTION, found)
    walks = []
    for points in centred:
        walk = MirrorWalk(edges.mesh, points)
        target = _carried(points, walk.skin)
        found = mirror_by_place(edges, points, target, walk.skin)
        if found.whole:
            return _map(polygons, points, target, found)
        clear = edges.whole_pieces(found.partner, found.clear) >= 0
        known, held = walk.skin.copy(), edges.mesh.vertex[clear & (walk.skin[edges.mesh.vertex] < 0)]
        known[held] = found.partner[held]
        known = paired_on_skin(edges, walk, points, known)
        if edges.is_whole(known):
            return _map(polygons, points, target, PlacedMirror(known, found.other, found.clear, True))
        images = edges.whole_pieces(known, np.ones(len(found.clear), dtype=bool))
        walks.append((int(np.count_nonzero(walk.skin >= 0)), walk, points, target, images))
    _, walk, points, target, images = max(walks, key=lambda each: each[0])
    walked = _in_place(polygons, points, target, walk.pieces(images))
    placed = mirror_by_place(edges, points, points * REFLECTION)
    partner = _better(edges, placed.partner, walked)
    target = _carried(points, partner)
    found = mirror_by_place(edges, points, target, partner)
    parted = "" if walk.parted is None else f"polygon {walk.parted.polygon}: {walk.parted.words}"
    return _map(polygons, points, target, found, parted)


def _map(polygons: Polygons, points: Floats, target: Floats, found: PlacedMirror, parted: str = "") -> MirrorMap:
    """The mirror map of the partners found; other vertices get the nearest vertex or the closest point."""
    partner = _nearest_too(polygons, points, target, found.partner, found.other)
    without = np.flatnonzero(partner < 0)
    corners, bary = _closest(polygons, points, target, partner, found.other, without)
    partner[without] = without
    return MirrorMap(
        read_only(partner.astype(np.int32)), read_only(without.astype(np.int32)), corners, bary, found.whole, parted
    )


def _midlines(points: Floats) -> list[float]:
    """Candidates for the x of the midline: 0, and another x about which the points are more symmetric."""
    tree, low, high = cKDTree(points), points[:, 0].min(), points[:, 0].max()
    few = points[:: max(1, len(points) // CENTRING)]
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    best = (np.inf, 0.0)
    for x in (0.0, (low + high) / 2.0):
        for _ in range(CENTRING_ROUNDS):
            away, near = tree.query(few * REFLECTION + (2.0 * x, 0.0, 0.0))
            spread = float(np.quantile(away, 0.7))
            if spread < best[0] - CENTRED * size:
                best = spread, x
            x = float(np.median(few[:, 0] + points[near, 0])) / 2.0
    return [0.0, best[1]] if abs(best[1]) > CENTRED * size else [0.0]


def _in_place(polygons: Polygons, points: Floats, target: Floats, partner: NDArray) -> NDArray[np.int64]:
    """(n,) the map without pieces whose partner is further from the `target` than `SELF_FAR` of the piece's diagonal.

    A symmetric piece on one side can be matched with itself; that is not its mirror image.
    """
    piece = polygons.components
    away = np.where((partner >= 0)[:, None], points[partner] - target, 0.0)
    far = np.linalg.norm(piece_means(piece, away), axis=1) > SELF_FAR * piece_diagonals(piece, points)
    return np.where((partner >= 0) & ~far[piece], partner, -1)


def _better(edges: EdgeMap, placed: NDArray, walked: NDArray) -> NDArray[np.int64]:
    """(n,) for each piece the map that keeps more of its edges, without partners that contradict each other."""
    piece = edges.mesh.polygons.components
    corner_piece = piece[edges.mesh.vertex]
    count = np.maximum(np.bincount(corner_piece, minlength=int(piece.max()) + 1), 1)
    kept = [
        np.bincount(corner_piece, weights=edges.kept(each), minlength=len(count)) / count for each in (placed, walked)
    ]
    drawn = np.maximum(kept[0], kept[1]) < DIAGONALS
    if drawn.any():  # triangles whose diagonals do not mirror: their edges tell as much as can be told
        by_edge = [
            np.bincount(corner_piece, weights=edges.kept_edges(each), minlength=len(count)) / count
            for each in (placed, walked)
        ]
        kept = [np.where(drawn, two, one) for one, two in zip(kept, by_edge, strict=True)]
    by_walk = ((kept[1] > kept[0] + CLEARLY) | (kept[1] == 1.0))[piece]
    partner = np.where(by_walk, walked, placed)
    known = np.flatnonzero(partner >= 0)
    partner[known[partner[partner[known]] != known]] = -1
    return partner


def _carried(points: Floats, partner: NDArray) -> Floats:
    """(n, 3) the expected mirror image of each vertex: its reflection, moved by the offset of the nearest vertex with a
    partner (n,), -1 for none."""
    target = points * REFLECTION
    known = np.flatnonzero(partner >= 0)
    if len(known):
        near = known[cKDTree(points[known]).query(points)[1]]
        target += points[partner[near]] - target[near]
    return target


def _nearest_too(
    polygons: Polygons, points: Floats, target: Floats, partner: NDArray, other: NDArray
) -> NDArray[np.int64]:  # fmt: skip
    """(n,) the map, with partners by place for other vertices where two are each other's nearest."""
    partner = partner.astype(np.int64)
    if (partner >= 0).all():
        return partner
    away, near = image_neighbours(polygons, points, target, other)
    loose = np.ones(len(points), dtype=bool)
    loose[polygons.indices] = False
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    reach = np.where(loose, LOOSE * size, NEAREST * edge_lengths(polygons, points))
    free = partner < 0
    mutual = free & free[near[:, 0]] & (near[near[:, 0], 0] == np.arange(len(points))) & (away[:, 0] <= reach)
    mutual &= mutual[near[:, 0]]
    partner[mutual] = near[mutual, 0]
    return partner


def _closest(
    polygons: Polygons, points: Floats, target: Floats, partner: NDArray, other: NDArray, without: NDArray
) -> tuple[Ints, Floats]:
    """(k, 3) corners and (k, 3) weights of the point closest to the `target` of each vertex without a partner: on the
    mirror piece of its own, or on the whole surface if its piece has none."""
    corners = np.repeat(without[:, None], 3, axis=1).astype(np.int32)
    bary = np.tile([1.0, 0.0, 0.0], (len(without), 1))
    piece, triangles = polygons.components, polygons.triangles
    held = np.zeros(len(other), dtype=bool)
    held[piece[partner >= 0]] = True
    wanted = np.where(held[piece[without]], other[piece[without]], -1)
    for number in np.unique(wanted):
        own = np.flatnonzero(wanted == number)
        chosen = triangles if number < 0 else triangles[piece[triangles[:, 0]] == number]
        if len(chosen):
            foot = NearestSurface(points, chosen)(target[without[own]])
            corners[own] = chosen[foot.triangle]
            bary[own] = _barycentric(points[corners[own]], foot.points)
    return read_only(corners), read_only(bary)


def _barycentric(corners: Floats, points: Floats) -> Floats:
    """(k, 3) barycentric weights, none negative, of points (k, 3) in triangles with corners (k, 3, 3)."""
    a = corners[:, 0]
    one, two, to = corners[:, 1] - a, corners[:, 2] - a, points - a
    d = [np.einsum("ij,ij->i", p, q) for p, q in ((one, one), (one, two), (two, two), (to, one), (to, two))]
    det = d[0] * d[2] - d[1] ** 2
    safe = np.where(det > 0.0, det, 1.0)
    v, w = (d[2] * d[3] - d[1] * d[4]) / safe, (d[0] * d[4] - d[1] * d[3]) / safe
    bary = np.clip(np.stack([1.0 - v - w, v, w], axis=1), 0.0, 1.0)
    bary[det <= 0.0] = (1.0, 0.0, 0.0)
    return np.asarray(bary / bary.sum(axis=1, keepdims=True), dtype=np.float64)
