"""Rims as guides: the ridge lines of the library's ears, drawn to the ridge lines of the sculpt's ears.

A closest point says nothing of sliding across a rim: the skin on both sides of a helix fits the sculpt as well a little
higher. Where the sculpt has a ridge as well, the line of the skin is drawn across itself to it, never along, and its
surroundings go with it, less and less. A ridge of the sculpt counts only where it is clear: near, looking and running
the same way, as sharp, found from either side, and in one piece. On people whose true places are known, the ridges of
lids and nose made some worse, and those of lips all: what their ridges are differs from head to head.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.fitting.closest import ClosestSurface
from composer.geometry.ridges import Ridges, ridges
from composer.geometry.surface import Surface
from composer.geometry.vectors import dot, unit_rows

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

# Lengths are shares of the head's diagonal (475 mm on the head they were chosen on).
WIDTH = 2.1e-3
"""Width of the smoothing under which ridges are found: 1 mm (chosen on two people: 2 and 3 mm help less)."""
SHARP = 28.0
"""Least curvature across a ridge, times the diagonal: a radius of 17 mm, smoothed (our choice)."""
NARROW = 1.5
"""Times that along the ridge that the curvature across it must be (our choice)."""
LEAST = 0.025
"""Least length of a ridge line: 12 mm (our choice)."""
REACH = 0.017
"""Furthest from the skin's line to the sculpt's: 8 mm (our choice)."""
TURN = 0.0125
"""Way that counts as much as a unit difference of two unit normals: 6 mm (our choice)."""
LOOKS, RUNS = 0.6, 0.7
"""Least cosines between the normals and between the directions of two lines (our choice)."""
BACK = 8.4e-3
"""Furthest that the way back may end from where the way there began; half the way where that is more (our choice)."""
ALIKE = 2.5
"""Largest ratio of two ridges' sharpness, either way (our choice)."""
STEP = 4.2e-3
"""Further apart, beside twice their own distance, matches of neighbours are not one line (our choice)."""
PIECE = 0.017
"""Least length of a matched piece of line: 8 mm (our choice)."""
APART = 0.0105
"""Length of line that counts once: 5 mm, as the places of the skin do (our choice)."""
DEVIATION = 1.7e-3
"""Standard deviation of a ridge about the skin's line, across it: .8 mm; on two people it was .5 to .9."""
FURTHER = 6.3e-3
"""Distance at which a ridge's weight falls to a quarter: 3 mm (our choice)."""
AMPLITUDE, LENGTH = 3.2e-3, 0.0126
"""How far the skin may move to a ridge, a standard deviation along an axis, 1.5 mm, and how far its surroundings go
along: 6 mm. With 10 and 15 mm the face of one person got worse."""
ROUNDS = 2
"""Rounds of matching and drawing (our choice)."""
GUIDING = ("ears",)
"""The places whose rims guide (see the module's first words)."""
NEAR = 0.035
"""Only the sculpt this near the skin's lines is looked at: 17 mm (our choice)."""


@dataclass(frozen=True, eq=False)
class LibraryRims:
    """Ridge lines of a library's skin that may guide a fit: `lines`, over the skin's vertices, and the name of the
    place that each of their k places belongs to, `place` (k,)."""

    lines: Ridges
    place: NDArray[np.str_]

    @classmethod
    def of(cls, surface: Surface, place: NDArray[np.str_], usable: Flags) -> LibraryRims:
        """The ridge lines of a skin `surface` (s vertices) where its vertices are `usable` (s,); `place` (s,) names
        the place of each."""
        scale = surface.diagonal_mm
        found = _ridges(surface.positions, surface.triangles, scale)
        found = found.some(np.asarray(usable[found.ends].all(axis=1)))
        return cls(found, place[found.ends[:, 0]])


@dataclass(frozen=True, eq=False)
class Matched:
    """The library's lines that found a ridge of the sculpt: the flagged places `on` (k,), where each is to go `target`
    (k, 3) mm, and the direction `along` (k, 3) in which it may slide. What is not `on` is meaningless."""

    on: Flags
    target: Rows
    along: Rows


class RidgeGuides:
    """The rims of a library on one sculpt, in the library's space and size."""

    def __init__(self, rims: LibraryRims, rest: Surface, positions: Rows, sculpt: ClosestSurface, scale: float) -> None:
        """`rest` is the library's skin, `positions` (s, 3) mm where the landmarks have moved it: ridges of the sculpt
        are looked for near its lines. `scale` is the head's diagonal."""
        self.rims, self.scale, self._rest = rims, scale, rest
        lines = rims.lines
        self.weight = lines.lengths(lines.at(rest.positions)) / (APART * rest.diagonal_mm)
        corners = np.zeros(len(sculpt.positions), dtype=bool)
        if len(lines.ends):
            tree = cKDTree(lines.at(positions))
            corners = np.isfinite(tree.query(sculpt.positions, distance_upper_bound=NEAR * scale)[0])
        near = sculpt.triangles[corners[sculpt.triangles].all(axis=1)]
        used, compact = np.unique(near, return_inverse=True)
        at = sculpt.positions[used]
        found = _ridges(at, compact.reshape(-1, 3), scale)
        self._target = found.at(at)
        self._looks = unit_rows(found.at(sculpt.normals[used]))
        self._runs = found.along(self._target)
        self._sharp = found.sharp * scale / rest.diagonal_mm
        self._tree = cKDTree(np.concatenate([self._target, TURN * scale * self._looks], axis=1))

    def matched(self, positions: Rows) -> Matched:
        """The lines of the skin at `positions` (s, 3) mm and the clear ridges of the sculpt that they belong to."""
        lines, scale = self.rims.lines, self.scale
        at = lines.at(positions)
        along = lines.along(at)
        if not len(at) or not len(self._target):
            return Matched(np.zeros(len(at), dtype=bool), at, along)
        looks = unit_rows(lines.at(ClosestSurface(positions, self._rest.triangles).normals))
        own = np.concatenate([at, TURN * scale * looks], axis=1)
        to = self._tree.query(own)[1]
        back = cKDTree(own).query(self._tree.data[to])[1]
        off = np.linalg.norm(self._target[to] - at, axis=1)
        sharper = self._sharp[to] / lines.sharp
        on = (off < REACH * scale) & (dot(looks, self._looks[to]) > LOOKS)
        on &= np.abs(dot(along, self._runs[to])) > RUNS
        on &= (sharper < ALIKE) & (sharper > 1.0 / ALIKE)
        on &= np.linalg.norm(at[back] - at, axis=1) <= np.maximum(BACK * scale, 0.5 * off)
        return Matched(self._in_pieces(on, at, self._target[to]), self._target[to], along)

    def _in_pieces(self, on: Flags, at: Rows, target: Rows) -> Flags:
        """(k,) those of the matches `on` (k,), from `at` to `target` (k, 3), that run on in pieces of some length."""
        pairs = self.rims.lines.joined
        way = np.linalg.norm(at[pairs[:, 1]] - at[pairs[:, 0]], axis=1)
        there = np.linalg.norm(target[pairs[:, 1]] - target[pairs[:, 0]], axis=1)
        runs_on = on[pairs].all(axis=1) & (there <= 2.0 * way + STEP * self.scale)
        kept, way = pairs[runs_on], way[runs_on]
        links = sp.csr_matrix((np.ones(len(kept)), (kept[:, 0], kept[:, 1])), shape=(len(at), len(at)))
        label = connected_components(links, directed=False)[1]
        length = np.bincount(label[kept[:, 0]], way, label.max(initial=-1) + 1)
        return on & (length[label] >= PIECE * self.scale)

    def drawn(self, positions: Rows, marks: Rows) -> tuple[Rows, Rows]:
        """(s, 3) the skin's `positions` (s, 3) mm with its rims drawn to the sculpt's, and the share of its lines (k,)
        that found one, 0 or 1. `marks` (m, 3) mm are places of landmarks, which hold their surroundings.

        The movement is the mean of a Gaussian process with these places of lines, known across them, and landmarks
        that do not move, known within the same deviation.
        """
        on = np.zeros(len(self.rims.lines.ends), dtype=bool)
        now = positions
        for _ in range(ROUNDS):
            found = self.matched(now)
            on = found.on
            if not on.any():
                break
            now = now + self._movement(now, found, marks)
        return now, on.astype(np.float64)

    def _movement(self, positions: Rows, found: Matched, marks: Rows) -> Rows:
        scale, on = self.scale, found.on
        at, along = self.rims.lines.at(positions)[on], found.along[on]
        way = found.target[on] - at
        way -= along * dot(way, along)[:, None]
        robust = 1.0 / (1.0 + (np.linalg.norm(way, axis=1) / (FURTHER * scale)) ** 2) ** 2
        count = np.maximum(self.weight[on] * robust, 1e-3)
        places = np.concatenate([at, marks])
        wanted = np.concatenate([way, np.zeros_like(marks)])
        noise = (DEVIATION * scale) ** 2 / np.concatenate([count, np.ones(len(marks))])
        seen = np.tile(np.eye(3), (len(places), 1, 1))
        seen[: len(at)] -= along[:, :, None] * along[:, None, :]
        kernel = self._kernel(places, places)
        size = 3 * len(places)
        system = np.einsum("iab,ij,jbc->iajc", seen, kernel, seen, optimize=True).reshape(size, size)
        system[np.arange(size), np.arange(size)] += np.repeat(noise, 3)
        pull = la.solve(system, wanted.ravel(), assume_a="pos").reshape(-1, 3)
        return self._kernel(positions, places) @ np.einsum("iab,ib->ia", seen, pull)

    def _kernel(self, one: Rows, other: Rows) -> Rows:
        square = (one**2).sum(1)[:, None] + (other**2).sum(1)[None] - 2.0 * one @ other.T
        width = LENGTH * self.scale
        return (AMPLITUDE * self.scale) ** 2 * np.exp(-np.maximum(square, 0.0) / (2.0 * width**2))


def guided(
    surface: Surface, place: NDArray[np.str_], usable: Flags, positions: Rows, sculpt: ClosestSurface, marks: Rows,
    scale: float,
) -> tuple[Rows, str]:  # fmt: skip
    """(s, 3) the skin's `positions` (s, 3) mm, near the sculpt, with the library's rims drawn to it, and what is told.

    `surface` is the library's skin, `place` (s,) names the place of each vertex, `usable` (s,) flags those that lie
    open and follow; `marks` (m, 3) mm are the places of landmarks, and `scale` is the sculpt's diagonal of a head.
    """
    rims = LibraryRims.of(surface, place, usable & np.isin(place, GUIDING))
    if not len(rims.lines.ends):
        return positions, ""
    at, share = RidgeGuides(rims, surface, positions, sculpt, scale).drawn(positions, marks)
    if not share.any():
        return positions, "The sculpt has no clear rim at the ears: they are fitted without."
    return at, f"The ears' rims guide the fit where the sculpt has them, {share.mean():.0%} of their length."


def _ridges(positions: Rows, triangles: NDArray, scale: float) -> Ridges:
    return ridges(
        positions, np.asarray(triangles, dtype=np.int64), WIDTH * scale, SHARP / scale, NARROW, LEAST * scale
    )
