"""The mesh a mask lives on: polygons with positions, and the geometry and operators that follow, each made once.

A polygon of more than three corners has no one surface, and one fan of triangles would give its diagonal a say
that its shape does not. The operators therefore average every fan of a polygon (both diagonals of a quad), so
that they depend neither on which corner comes first nor on left and right. Lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.linalg import SuperLU, splu

from composer.errors import MoueError
from composer.geometry.fan_metric import FanMetric
from composer.geometry.polygons import Ints, Polygons, read_only
from composer.geometry.triangle_metric import triangle_vectors
from composer.geometry.vectors import unit_rows

Floats = NDArray[np.float64]
Derived = TypeVar("Derived")


def factorise(matrix: sp.spmatrix, ordered: bool = False) -> SuperLU:
    """Factor a symmetric positive definite matrix once; `.solve(b)` then takes Fortran-ordered right-hand sides.

    `ordered`: its rows and columns already stand in an order with little fill, such as another factor's.
    """
    return splu(
        sp.csc_matrix(matrix),
        permc_spec="NATURAL" if ordered else "MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True, "Equil": False},
    )


class Surface:
    """A polygon mesh in space. Everything derived is cached and read-only; nothing is ever changed in place."""

    def __init__(self, polygons: Polygons, positions: ArrayLike) -> None:
        """Take the connectivity and `positions` (n, 3) in mm.

        Raises MoueError where the positions do not fit the polygons or are not finite.
        """
        points = np.ascontiguousarray(positions, dtype=np.float64)
        if points.shape != (polygons.n_vertices, 3):
            raise MoueError(f"positions of shape {points.shape} for a mesh of {polygons.n_vertices} vertices")
        if not np.isfinite(points).all():
            bad = int(np.flatnonzero(~np.isfinite(points).all(axis=1))[0])
            raise MoueError(f"vertex {bad} has a position that is not a number")
        if points is positions and points.flags.writeable:
            points = points.copy()
        self.polygons = polygons
        self.positions: Floats = read_only(points)
        self._derived: dict[Callable[[Surface], Any], Any] = {}

    def at(self, positions: ArrayLike) -> Surface:
        """The same polygons at other positions (n, 3) mm, such as a pose."""
        return Surface(self.polygons, positions)

    @property
    def n_vertices(self) -> int:
        """Number of vertices n."""
        return self.polygons.n_vertices

    @property
    def triangles(self) -> Ints:
        """(t, 3) the polygons as fans about their first corners."""
        return self.polygons.triangles

    @cached_property
    def triangle_vectors(self) -> Floats:
        """(t, 3) the normal of each triangle times twice its area, mm^2."""
        return read_only(triangle_vectors(self.positions, self.triangles))

    @cached_property
    def face_vectors(self) -> Floats:
        """(f, 3) the vector area of each polygon in mm^2 (Newell): its normal times its area."""
        summed = np.empty((self.polygons.n_faces, 3))
        for axis in range(3):
            summed[:, axis] = np.bincount(
                self.polygons.triangle_face, weights=self.triangle_vectors[:, axis], minlength=len(summed)
            )
        return read_only(0.5 * summed)

    @cached_property
    def face_areas(self) -> Floats:
        """(f,) area of each polygon in mm^2 (the length of its vector area)."""
        return read_only(np.linalg.norm(self.face_vectors, axis=1))

    @cached_property
    def face_normals(self) -> Floats:
        """(f, 3) unit normal of each polygon, zero where it has no area."""
        return read_only(unit_rows(self.face_vectors))

    @cached_property
    def vertex_normals(self) -> Floats:
        """(n, 3) unit normals: the polygons' vector areas summed about each vertex, zero where there are none."""
        corners = self.polygons.indices
        summed = np.empty((self.n_vertices, 3))
        for axis in range(3):
            share = self.face_vectors[self.polygons.corner_face, axis]
            summed[:, axis] = np.bincount(corners, weights=share, minlength=self.n_vertices)
        return read_only(unit_rows(summed))

    @cached_property
    def edge_lengths(self) -> Floats:
        """(e,) length in mm of each edge of `polygons.edges`."""
        a, b = self.polygons.edges.T
        return read_only(np.linalg.norm(self.positions[b] - self.positions[a], axis=1))

    @cached_property
    def mean_edge_mm(self) -> float:
        """Mean edge length in mm; 0 for a mesh without edges."""
        return float(self.edge_lengths.mean()) if len(self.edge_lengths) else 0.0

    @cached_property
    def diagonal_mm(self) -> float:
        """Diagonal of the bounding box in mm."""
        return float(np.linalg.norm(np.ptp(self.positions, axis=0))) if self.n_vertices else 0.0

    @cached_property
    def fans(self) -> tuple[Ints, Floats]:
        """Every fan of every polygon: (T, 3) triangles and (T,) their share, the shares of a polygon's fans
        being one over their number. A triangle counts once, a quad as its two diagonals at one half each.
        """
        polygons = self.polygons
        triangles: list[NDArray] = []
        shares: list[NDArray] = []
        for corners in np.unique(polygons.counts):
            faces = np.flatnonzero(polygons.counts == corners)
            loops = polygons.indices[polygons.starts[faces][:, None] + np.arange(corners)]
            apexes = {3: range(1), 4: range(2)}.get(int(corners), range(int(corners)))
            for apex in apexes:
                turned = np.roll(loops, -apex, axis=1)
                for step in range(1, int(corners) - 1):
                    triangles.append(turned[:, [0, step, step + 1]])
                    shares.append(np.full(len(faces), 1.0 / len(apexes)))
        if not triangles:
            return read_only(np.empty((0, 3), np.int32)), read_only(np.empty(0))
        return read_only(np.concatenate(triangles)), read_only(np.concatenate(shares))

    @cached_property
    def _fan_metric(self) -> FanMetric:
        return FanMetric.of(self.positions, self.fans[0])

    @property
    def fan_vectors(self) -> Floats:
        """(T, 3) normal times doubled area in mm^2 of the triangles of `fans`."""
        return self._fan_metric.vectors

    @property
    def fan_doubled_areas(self) -> Floats:
        """(T,) doubled areas in mm^2 of the triangles of `fans`, kept off zero (see `fan_metric`)."""
        return self._fan_metric.doubled

    @property
    def fan_cotangents(self) -> Floats:
        """(T, 3) the cotangent of the angle at each corner of the triangles of `fans`."""
        return self._fan_metric.cotangents

    @cached_property
    def vertex_areas(self) -> Floats:
        """(n,) a third of the triangles about each vertex in mm^2, fans averaged; sums to the surface's area."""
        triangles, share = self.fans
        third = share * self._fan_metric.lengths / 6.0
        total = np.bincount(triangles.ravel(), weights=np.repeat(third, 3), minlength=self.n_vertices)
        return read_only(total)

    @cached_property
    def mass(self) -> Floats:
        """(n,) the diagonal of the lumped mass matrix: `vertex_areas`, kept off zero so that it can be divided by."""
        mean = float(self.vertex_areas.mean()) if self.n_vertices else 0.0
        return read_only(np.maximum(self.vertex_areas, 1e-9 * mean if mean > 0 else 1.0))

    @cached_property
    def laplacian(self) -> sp.csc_matrix:
        """(n, n) the cotangent Laplacian, symmetric and positive semidefinite, rows sum to zero: x' L x is the
        integral of |grad x|^2 (Pinkall and Polthier 1993, "Computing discrete minimal surfaces"; MacNeal 1949).
        """
        triangles, share = self.fans
        half = 0.5 * share[:, None] * self.fan_cotangents
        i = np.concatenate([triangles[:, 1], triangles[:, 2], triangles[:, 0]])
        j = np.concatenate([triangles[:, 2], triangles[:, 0], triangles[:, 1]])
        w = half.T.ravel()
        n = self.n_vertices
        off = sp.coo_matrix((np.concatenate([w, w]), (np.concatenate([i, j]), np.concatenate([j, i]))), (n, n))
        off = off.tocsc()
        diagonal = np.asarray(off.sum(axis=1)).ravel()
        return (sp.diags(diagonal, format="csc") - off).tocsc()

    def factor(self, t_mm2: float) -> SuperLU:
        """Mass plus `t_mm2` times the Laplacian, factored: one backward Euler step of diffusion over t."""
        return factorise(sp.diags(self.mass, format="csc") + t_mm2 * self.laplacian)

    def derived(self, make: Callable[[Surface], Derived]) -> Derived:
        """The result of `make`, a class or function of a surface, for this surface: `surface.derived(Stencils)`. It is
        computed once and kept with the surface, which does not import it."""
        if make not in self._derived:
            self._derived[make] = make(self)
        return self._derived[make]

    def knows(self, make: Callable[[Surface], Any]) -> bool:
        """Whether `derived` has the result of `make` already."""
        return make in self._derived
