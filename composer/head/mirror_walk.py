"""Mirror partners by connectivity, found by a walk from the midline, for heads that are not quite symmetric.

The mesh is matched with its mirrored self, left to right. The walk starts at an edge of the midline, which is its own
mirror image. Pieces off the midline (eyeballs, lashes) find their partner by the positions of vertices. The fast method
for nearly symmetric heads is `composer.head.mirror_place`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges, turned_over
from composer.head.mirror_place import is_involution
from composer.head.order_matching import PATCH, Matching
from composer.head.order_ranking import Evidence
from composer.head.order_walk import Disagreement, Walk

MOST_SEEDS = 64
"""The number of midline edges tried as a start, nearest first. Our choice."""
MOST_TOLERANT = 4
"""The number of them from which a walk goes around asymmetric places, which covers the whole piece. Our choice."""
LEAST = 0.1
"""A walk that matches less than this fraction of all polygons shows that the topology of the two sides differs
everywhere. Our choice.
"""


class MirrorWalk:
    """The walk of a mesh and its mirrored self, started on the skin's midline.

    `skin` holds the partners on the skin alone; `pieces()` adds the other pieces, which takes longer.
    """

    def __init__(self, mesh: HalfEdges, positions: NDArray) -> None:
        """Take positions (n, 3) in any unit, with left and right roughly on the two sides of x = 0."""
        self._mesh, self._points = mesh, np.ascontiguousarray(positions, dtype=np.float64)
        over, self._same = turned_over(mesh.polygons)
        self._mirrored = HalfEdges(over)
        self._start: tuple[int, int] | None = None
        self.parted: Disagreement | None = None
        seeds = [(c, int(self._same[mesh.following[mesh.twin[c]]])) for c in _midline_corners(mesh, self._points)]
        self.skin: NDArray[np.int64] = self._walk(seeds)

    def _walk(self, seeds: list[tuple[int, int]]) -> NDArray[np.int64]:
        """(n,) partners on the skin, -1 elsewhere and where its two sides differ."""
        patches: list[tuple[int, tuple[int, int]]] = []
        for seed in seeds:
            patch = self._new().run(*seed, most=PATCH, keep=False)
            patches.append((patch.polygons, seed))
            if patch.stopped is None:
                walk = self._new()
                if walk.run(*seed).stopped is None and is_involution(walk.vertex):
                    self._start = seed
                    return walk.vertex.astype(np.int64)
                break  # the difference is elsewhere: another seed changes nothing
        most, found = LEAST * self._mesh.polygons.n_faces, np.full(len(self._points), -1)
        for _, seed in sorted(patches, key=lambda each: -each[0])[:MOST_TOLERANT]:
            walk = self._new()
            walked = walk.run(*seed, tolerant=True)
            if walked.agreed > most:
                most, found = walked.agreed, _mutual(walk.vertex)
                self._start, self.parted = seed, walked.stopped
        return found

    def ways(self, corner: int, images: NDArray) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
        """The ways in which the piece of a corner fits, mirrored, where the corner's edge goes to that of one of
        `images` (k,): its vertices (v,), and the partner (v,) of each."""
        found, walk = [], self._new()
        for other in self._same[self._mesh.following[images]].tolist():
            walked = walk.run(corner, other, keep=False)
            if walked.stopped is None:
                mine, first = np.unique(self._mesh.vertex[walked.corners], return_index=True)
                image = self._mirrored.vertex[walked.others[first]]
                found.append((mine.astype(np.int64), image.astype(np.int64)))
        return found

    def pieces(self, images: NDArray) -> NDArray[np.int64]:
        """(n,) partners on all pieces, -1 where none is found.

        `images` (k,) holds for each corner of pieces whose partners are known the corner of the mirrored edge, -1 for
        all others; these pieces are kept as they are, which is quick where there are hundreds of hairs.
        """
        if self._start is None:
            return self.skin
        known = np.flatnonzero((images >= 0) & (self.skin[self._mesh.vertex] < 0)).astype(np.int32)
        laid = known, self._same[self._mesh.following[images[known]]]
        evidence = Evidence(
            self._points, self._points * (-1.0, 1.0, 1.0),
            start=self._start, laid=laid, tolerant=self.parted is not None,
        )  # fmt: skip
        matching = Matching(self._mesh, self._mirrored, evidence)
        matching.run()
        return _mutual(matching.walk.vertex)

    def _new(self) -> Walk:
        return Walk(self._mesh, self._mirrored)


def _mutual(partner: NDArray) -> NDArray[np.int64]:
    """The map (n,) without vertices that are not their partner's partner."""
    mutual = partner.astype(np.int64)
    known = np.flatnonzero(mutual >= 0)
    mutual[known[partner[partner[known]] != known]] = -1
    return mutual


def _midline_corners(mesh: HalfEdges, points: NDArray) -> list[int]:
    """Corners whose edge lies on the midline of the skin, the nearest to it, in lengths of the edge, first.

    The skin is the largest piece, by its polygons, that lies on both sides of x = 0.
    """
    begin, end = mesh.vertex, mesh.vertex[mesh.following]
    count = int(mesh.pieces.max(initial=-1)) + 1
    piece = mesh.pieces[mesh.face]
    sides = [np.bincount(piece[side], minlength=count) > 0 for side in (points[begin, 0] > 0, points[begin, 0] < 0)]
    sizes = np.bincount(mesh.pieces, minlength=count)
    skin = int(np.argmax(sizes * (sides[0] & sides[1]))) if count else -1
    chosen = np.flatnonzero((mesh.twin > np.arange(len(begin))) & (piece == skin))
    ends = points[begin[chosen]], points[end[chosen]]
    length = np.linalg.norm(ends[0] - ends[1], axis=1)
    off = np.maximum(np.abs(ends[0][:, 0]), np.abs(ends[1][:, 0]))
    nearest = np.argsort(off / np.maximum(length, 1e-12), kind="stable")[:MOST_SEEDS]
    return chosen[nearest].tolist()
