"""How a triangle mesh bends: its principal curvatures at the vertices, at a chosen scale.

The unit normals are smoothed over a width, and their linear interpolation over each triangle has a gradient: the shape
operator (Rusinkiewicz 2004, "Estimating curvatures and their derivatives on triangle meshes", there by least squares).
The vertices take the mean of their triangles by area. On a sphere of radius r that is 1/r in every direction.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface, factorise
from composer.geometry.triangle_metric import triangle_vectors
from composer.geometry.vectors import cross, dot, unit_rows

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Curvature:
    """At n vertices: the unit `normals` (n, 3), smoothed; the `largest` curvature (n,) in 1/mm, above 0 where the
    surface is convex, the one square to it, `other` (n,), and the unit direction `across` (n, 3) of the largest."""

    normals: Rows
    largest: Rows
    other: Rows
    across: Rows


def gradients(positions: Rows, triangles: NDArray, values: Rows) -> Rows:
    """(t, 3, c) the gradient over each of `triangles` (t, 3) of `values` (n, c) that are linear on it, in their unit
    per mm; 0 on a triangle without area."""
    double = triangle_vectors(positions, triangles)
    square = dot(double, double)
    out = np.zeros((len(triangles), 3, values.shape[1]))
    for i in range(3):
        side = positions[triangles[:, i - 1]] - positions[triangles[:, i - 2]]
        slope = cross(double, side) / np.where(square > 0.0, square, np.inf)[:, None]
        out += slope[:, :, None] * values[triangles[:, i]][:, None, :]
    return out


def curvature(positions: Rows, triangles: NDArray, width_mm: float) -> Curvature:
    """The curvature of `triangles` (t, 3) over `positions` (n, 3) mm, its normals smoothed over `width_mm` > 0, the
    standard deviation of the smoothing."""
    n = len(positions)
    area = triangle_vectors(positions, triangles)
    to_vertices = _averages(triangles, np.sqrt(dot(area, area)), n)
    smooth = _smoothing(positions, triangles, width_mm)
    normals = unit_rows(smooth(unit_rows(to_vertices @ unit_rows(area))))
    operator = gradients(positions, triangles, normals)
    bend = smooth(to_vertices @ operator.reshape(-1, 9)).reshape(-1, 3, 3)
    bend = 0.5 * (bend + bend.transpose(0, 2, 1))
    first = unit_rows(np.cross(normals, np.eye(3)[np.abs(normals).argmin(axis=1)]))
    second = np.cross(normals, first)
    a, c = (np.einsum("ni,nij,nj->n", v, bend, v) for v in (first, second))
    b = np.einsum("ni,nij,nj->n", first, bend, second)
    middle, apart = 0.5 * (a + c), np.hypot(0.5 * (a - c), b)
    turn = 0.5 * np.arctan2(b, 0.5 * (a - c))
    across = np.cos(turn)[:, None] * first + np.sin(turn)[:, None] * second
    return Curvature(normals, middle + apart, middle - apart, across)


def _averages(triangles: NDArray, weight: Rows, n: int) -> sp.csr_matrix:
    """(n, t) the mean of a triangle's value over the triangles at each vertex, by `weight` (t,)."""
    count = np.arange(len(triangles))
    total = np.bincount(triangles.ravel(), np.repeat(weight, 3), n)
    share = np.repeat(weight, 3) / np.maximum(total, 1e-300)[triangles.ravel()]
    return sp.csr_matrix((share, (triangles.ravel(), np.repeat(count, 3))), shape=(n, len(triangles)))


def _smoothing(positions: Rows, triangles: NDArray, width_mm: float) -> Callable[[Rows], Rows]:
    """A function that smooths values (n, c) over a width: two steps of heat, each implicit, half the time each."""
    corners = np.asarray(triangles, dtype=np.int32)
    surface = Surface(Polygons(np.full(len(corners), 3, np.int32), corners.ravel(), len(positions)), positions)
    mass = np.maximum(surface.mass, 1e-9 * float(surface.mass.max(initial=1e-300)))
    factor = factorise(sp.diags(mass) + 0.25 * width_mm**2 * surface.laplacian)

    def smooth(values: Rows) -> Rows:
        for _ in range(2):
            values = factor.solve(np.asfortranarray(mass[:, None] * values))
        return values

    return smooth
