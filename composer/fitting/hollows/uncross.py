"""Skin that cuts skin, though it does not on the library, gives way: patches about the crossings take the library's
form.

Of two polygons that cross, the one that lies more hidden on the library gives way, both where they are alike. A patch
about them is turned and scaled to its surroundings and takes the shape that it has on the library
(`fitting.reference_shape`). It moves only where fewer pairs cross afterwards and no face is turned over or folded more;
faces that its move folds are unfolded first (`fitting.bad_places`). Patches grow, attempt after attempt. Pairs both of
whose polygons cross on the library as well, as lips at rest may, are left to the library.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.fitting.bad_places import unfolded
from composer.fitting.hollows.cavities import connected
from composer.fitting.loops import Loops
from composer.fitting.reference_shape import shaped
from composer.geometry.polygons import Polygons
from composer.geometry.self_crossing import Crossings, SelfCrossing

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
Pairs = NDArray[np.int64]

ATTEMPTS = ((1, 0.1), (2, 0.1), (3, 0.1), (4, 0.03), (6, 0.01), (9, 0.003), (13, 0.001))
"""Attempt after attempt, the rings of vertices about the crossing polygons that move, and how firmly those of them that
lie on the sculpt are held there, beside weight 1 for the library's form (chosen on two sculpts of one library)."""
ALIKE = 0.05
"""Difference of visibility up to which two polygons lie alike hidden, so that both give way (our choice)."""
LINK = 0.03
"""Furthest that linked vertices lie apart on the library, as a share of its diagonal (our choice: an ear's thickness
and what stands behind it)."""
STEPS = (1.0, 0.5)
"""Shares of the way to the library's form that are tried (our choice)."""
AROUND = 4
"""Rings about a patch that may move too where it folds faces (our choice)."""
FILL_WIDTH = 0.02
"""Width of the tension where they are unfolded, as a share of the skin's diagonal (our choice)."""
STAY, ROUNDS = 1e-6, 8
"""How weakly a patch is held where it is, and the rounds in which it takes the library's form (our choice)."""


@dataclass(frozen=True, eq=False)
class Uncrossing:
    """What is known of a library's skin of s vertices: its `polygons`, `rest` (s, 3) mm, the `visibility` (s,), the
    `loops` that find bad faces, and the pairs of triangles `own` (p, 2) that cross on it."""

    polygons: Polygons
    rest: Rows
    visibility: Rows
    loops: Loops
    test: SelfCrossing
    own: Pairs
    extent: float

    @classmethod
    def of(cls, polygons: Polygons, rest: Rows, visibility: Rows) -> Uncrossing:
        """For a skin at `rest` (s, 3) mm."""
        test = SelfCrossing(polygons)
        extent = float(np.linalg.norm(np.ptp(rest, axis=0)))
        return cls(polygons, rest, visibility, Loops(polygons, rest), test, test.pairs(rest), extent)

    @cached_property
    def known(self) -> Flags:
        """(f,) the polygons that cross others on the library."""
        return self.test.faces_among(self.own)

    @cached_property
    def _corners(self) -> NDArray[np.int64]:
        """(f, k) the corners of each polygon; those of fewer than k corners repeat their first."""
        counts, starts = self.polygons.counts, self.polygons.starts[:-1]
        column = np.arange(int(counts.max(initial=0)))[None, :]
        return self.polygons.indices[starts[:, None] + np.where(column < counts[:, None], column, 0)].astype(np.int64)

    def new(self, pairs: Pairs) -> Pairs:
        """(q, 2) the pairs of polygons that `pairs` of triangles belong to and that do not both cross on the library.
        """
        faces = self.test.faces_of(pairs)
        return faces[~self.known[faces].all(axis=1)]

    def apply(self, state: Crossings, loose: Flags, fixed: Flags, most: int | None = None) -> Flags:
        """Move the vertices of `state` (s of them) until as few new pairs cross as the patches leave; (s,) which moved.

        Vertices flagged in `loose` (s,) do not lie on the sculpt and give way first; those in `fixed` (s,) stay.
        Of the ATTEMPTS the first `most` are made, by default all.
        """
        moved = np.zeros(len(state.positions), dtype=bool)
        for rings, hold in ATTEMPTS[:most]:
            for both in (False, True):
                pairs = self.new(state.pairs)
                if not len(pairs):
                    return moved
                seeds = self.loops.vertices_of(self._giving_way(pairs, both, loose))
                firm = np.where(seeds | loose, STAY, max(hold, STAY))
                for patch in connected(self.polygons, self.loops.grown(seeds, rings) & ~fixed):
                    moved |= self._parted(state, patch, firm, fixed)
        return moved

    def _giving_way(self, pairs: Pairs, both: bool, loose: Flags) -> Flags:
        """(f,) the polygons of crossing `pairs` (q, 2) that give way: the loose, then the more hidden ones; or `both`.
        """
        corner = self.polygons.corner_face
        worth = self.visibility + ~loose
        open_ = np.bincount(corner, worth[self.polygons.indices]) / self.polygons.counts
        ahead = open_[pairs[:, 0]] - open_[pairs[:, 1]]
        flags = np.zeros(self.polygons.n_faces, dtype=bool)
        flags[pairs[(ahead <= ALIKE) | both, 0]] = True
        flags[pairs[(ahead >= -ALIKE) | both, 1]] = True
        return flags

    def _parted(self, state: Crossings, patch: Flags, firm: Rows, fixed: Flags) -> Flags:
        """(s,) what moved of a `patch` (s,) to the library's form, in whole or in part, so that fewer pairs cross;
        nothing where it could not.

        `firm` (s,) is how firmly each vertex is held where it is. What crosses is tried first with links: polygons
        that cross keep the offset that they have on the library, so that one sheet stands before the other again.
        """
        pairs = self.new(state.pairs)
        moving = np.flatnonzero(patch)
        for linked in (True, False):
            links = self._links(pairs, patch) if linked else None
            if links is not None and not len(links):
                continue
            form = shaped(
                self.polygons, state.positions, self.loops, self.rest, moving, firm[moving], ROUNDS, True, links
            )
            for trial in self._on_the_way(state.positions, form):
                found = state.tried(trial, patch)
                if len(self.new(found)) >= len(pairs):
                    continue
                at, moved = self.unfolded(state.positions, trial, patch, fixed)
                found = found if at is trial else state.tried(at, moved)
                bad = self.loops.bad_about(state.positions, moved)
                if len(self.new(found)) < len(pairs) and self.loops.bad_about(at, moved) <= bad:
                    state.move(at, moved, found)
                    return moved
        return np.zeros_like(patch)

    def unfolded(self, before: Rows, trial: Rows, patch: Flags, fixed: Flags) -> tuple[Rows, Flags]:
        """A `trial` (s, 3) for a `patch` (s,) with the faces unfolded that it folds, and which vertices (s,) it moves;
        what lies further than AROUND rings about the patch stays."""
        if self.loops.bad_about(trial, patch) <= self.loops.bad_about(before, patch):
            return trial, patch
        at, _ = unfolded(
            self.polygons, trial, self.loops, self.rest, width_mm=FILL_WIDTH * self.extent,
            fixed=fixed | ~self.loops.grown(patch, AROUND), reluctant=np.zeros_like(patch),
        )  # fmt: skip
        return at, patch | (at != before).any(axis=1)

    def _links(self, pairs: Pairs, patch: Flags) -> Pairs:
        """(l, 2) vertices of the polygons of `pairs` (q, 2) that cross, each linked to the vertex of the other polygon
        that is nearest on the library; those that touch the `patch` (s,) and are near each other there."""
        first, second = (self._corners[pairs[:, side]] for side in (0, 1))
        touching = patch[first].any(axis=1) | patch[second].any(axis=1)
        first, second = first[touching], second[touching]
        away = np.linalg.norm(self.rest[first][:, :, None] - self.rest[second][:, None], axis=3)
        row = np.arange(len(first))[:, None]
        ahead = np.stack([first, second[row, away.argmin(axis=2)]], axis=2).reshape(-1, 2)
        back = np.stack([first[row, away.argmin(axis=1)], second], axis=2).reshape(-1, 2)
        links = np.concatenate([ahead, back])
        links = links[np.linalg.norm(self.rest[links[:, 0]] - self.rest[links[:, 1]], axis=1) < LINK * self.extent]
        links = links[links[:, 0] != links[:, 1]]
        return np.unique(np.sort(links, axis=1), axis=0)

    @staticmethod
    def _on_the_way(start: Rows, end: Rows) -> Iterator[Rows]:
        """Places (s, 3) on the way from `start` to `end` (s, 3), the furthest first."""
        for step in STEPS:
            yield start + step * (end - start)
