"""Catmull-Clark steps by other rules than Moue's own: sharp corners of an open border, and creases.

Programs differ at the border. In Moue's levels the whole border is a smooth curve; by the other rule in use a border
vertex of one polygon only is a corner and stays where it is. A crease is an inner edge treated as a border: its point
is the middle, and a vertex on two of them is 3/4 itself and 1/8 each of its neighbours along the crease, one on three
stays (DeRose, Kass and Truong 1998, at infinite sharpness).
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.head.levels import Refinement

Bools = NDArray[np.bool_]


class RuledRefinement(Refinement):
    """A step that keeps border corners where `corners` is True, and treats the edges `creases` (e,) as creases."""

    def __init__(self, polygons: Polygons, corners: bool = True, creases: Bools | None = None) -> None:
        """Take the polygons to subdivide once, and the rules."""
        super().__init__(polygons)
        self.corners = corners
        self.creases = np.zeros(len(polygons.edges), dtype=bool) if creases is None else creases

    @cached_property
    def matrix(self) -> sp.csr_matrix:
        """(n1, n0) float64, as in `Refinement`, by these rules."""
        smooth = Refinement(self.coarse).matrix
        rows, columns, data = self._rows()
        if not len(rows):
            return smooth
        kept = np.ones(smooth.shape[0])
        kept[rows] = 0.0
        ruled = sp.csr_matrix((data, (rows, columns)), shape=smooth.shape)
        out = (sp.diags_array(kept).tocsr() @ smooth + ruled).tocsr()
        out.eliminate_zeros()
        return sp.csr_matrix(out)

    @cached_property
    def matrix32(self) -> sp.csr_matrix:
        """(n1, n0) the same in float32."""
        return self.matrix.astype(np.float32)

    @property
    def _is_large(self) -> bool:
        return False

    def _rows(self) -> tuple[NDArray, NDArray, NDArray]:
        """Row, column and weight of all entries that differ by these rules."""
        mesh, n = self.coarse, self.coarse.n_vertices
        sharp = self.creases | (mesh.edge_use != 2)
        at = np.bincount(mesh.edges[sharp].ravel(), minlength=n)
        creased = np.zeros(n, dtype=bool)
        creased[mesh.edges[self.creases].ravel()] = True
        stay = creased & (at > 2)
        if self.corners:
            stay |= mesh.border_vertices & (mesh.valence == 2)
        curve = creased & (at == 2) & ~stay
        both = np.concatenate([mesh.edges[sharp], mesh.edges[sharp][:, ::-1]])
        both = both[curve[both[:, 0]]]
        edge = np.flatnonzero(self.creases)
        stays, curves = np.flatnonzero(stay), np.flatnonzero(curve)
        rows = [stays, curves, both[:, 0], np.repeat(n + edge, 2)]
        columns = [stays, curves, both[:, 1], mesh.edges[edge].ravel()]
        weights = np.repeat([1.0, 0.75, 0.125, 0.5], [len(each) for each in rows])
        return np.concatenate(rows), np.concatenate(columns), weights

    def finer_creases(self) -> Bools:
        """(e1,) the finer edges that lie on the creases: both halves of each."""
        mesh, finer = self.coarse, self.polygons
        n, edge = mesh.n_vertices, np.flatnonzero(self.creases)
        halves = mesh.edges[edge].astype(np.int64).ravel() * finer.n_vertices + np.repeat(n + edge, 2)
        known = finer.edges[:, 0].astype(np.int64) * finer.n_vertices + finer.edges[:, 1]
        on = np.zeros(len(known), dtype=bool)
        on[np.searchsorted(known, halves)] = True
        return on


def ruled_levels(polygons: Polygons, k: int, corners: bool, creases: Bools | None = None) -> list[Refinement]:
    """The factors from level 0 to level k by these rules; `creases` (e,) are edges of the cage."""
    steps: list[Refinement] = []
    for _ in range(k):
        step = RuledRefinement(polygons, corners, creases)
        creases = step.finer_creases() if creases is not None and k > len(steps) + 1 else None
        steps.append(step)
        polygons = step.polygons
    return steps


def creases_of(polygons: Polygons, positions: NDArray, finer: NDArray, tolerance: float) -> Bools:
    """(e,) the inner edges of a cage that are creases in its level 1, `finer` (n1, 3), in the order of `levels`.

    The edge point is at the middle of the edge on a crease, and at the mean of its ends and polygons elsewhere. An edge
    is a crease if its point is nearer to the middle, and further than `tolerance` (a length) from the smooth rule.
    """
    n, e = polygons.n_vertices, len(polygons.edges)
    smooth = Refinement(polygons).apply(positions)[n : n + e]
    middle = positions[polygons.edges].mean(axis=1)
    off, off_middle = (np.linalg.norm(finer[n : n + e] - guess, axis=1) for guess in (smooth, middle))
    return (polygons.edge_use == 2) & (off > tolerance) & (off_middle < 0.1 * off)
