"""Masks on another mesh: carried by surface points, or lifted by the rule that subdivides the mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from composer.errors import MoueError
from composer.geometry.surface import Floats, Surface
from masks.mask import checked_values


@dataclass(frozen=True, eq=False)
class SurfacePoints:
    """Where m points lie on a mesh: the vertices (m, 3) of a triangle each, barycentric weights (m, 3) that sum to
    one, and how far each point was from there, mm (m,).
    """

    triangles: NDArray[np.int32]
    bary: Floats
    distance_mm: Floats

    def at(self, values: ArrayLike) -> Floats:
        """(m,) or (m, d) what vertex values (n,) or (n, d) of the mesh are at the points."""
        return np.einsum("mi,mi...->m...", self.bary, np.asarray(values, dtype=np.float64)[self.triangles])


def closest_points(
    surface: Surface, points: ArrayLike, normals: ArrayLike | None = None, candidates: int = 8
) -> SurfacePoints:
    """The closest point of the surface to each of `points` (m, 3) in mm: among the triangles about its `candidates`
    nearest vertices. With unit `normals` (m, 3), triangles that face the other way are taken only where no other is
    among them, so that the upper lip does not land on the lower one.

    Raises MoueError where the surface has no polygon or the shapes do not fit.
    """
    sought = np.asarray(points, dtype=np.float64)
    if sought.ndim != 2 or sought.shape[1] != 3 or not np.isfinite(sought).all():
        raise MoueError("points must be (m, 3) finite positions")
    triangles = surface.triangles
    if len(triangles) == 0:
        raise MoueError("there is no surface to carry to: the mesh has no polygons")
    used = np.unique(triangles)
    near = min(candidates, len(used))
    _, nearest = cKDTree(surface.positions[used]).query(sought, k=near)
    nearest = used[nearest.reshape(len(sought), near)]
    order = np.argsort(triangles.ravel(), kind="stable")
    first = np.searchsorted(triangles.ravel()[order], np.arange(surface.n_vertices + 1))
    count = first[nearest + 1] - first[nearest]
    widest = int(count.max()) if count.size else 0
    best = np.full(len(sought), np.inf)
    cost = np.full(len(sought), np.inf)
    chosen = np.zeros(len(sought), dtype=np.int64)
    bary = np.zeros((len(sought), 3))
    unit = None if normals is None else np.asarray(normals, dtype=np.float64)
    reach = float(surface.diagonal_mm) + 1.0
    facing = surface.triangle_vectors
    for k in range(near):
        for step in range(widest):
            rows = np.flatnonzero(count[:, k] > step)
            if len(rows) == 0:
                break
            triangle = order[first[nearest[rows, k]] + step] // 3
            weights, away = _closest_on_triangles(surface.positions[triangles[triangle]], sought[rows])
            price = away.copy()
            if unit is not None:
                price += reach * (np.einsum("ij,ij->i", facing[triangle], unit[rows]) < 0)
            better = price < cost[rows]
            mine = rows[better]
            cost[mine], best[mine] = price[better], away[better]
            chosen[mine], bary[mine] = triangle[better], weights[better]
    return SurfacePoints(triangles[chosen], bary, best)


def _closest_on_triangles(corners: Floats, points: Floats) -> tuple[Floats, Floats]:
    """Barycentric weights (m, 3) of the closest point of each triangle (m, 3, 3) to each point (m, 3), and the
    distance (m,). By regions of the triangle: Ericson 2005, "Real-Time Collision Detection", section 5.1.5.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac = b - a, c - a
    d1, d2 = _dot(ab, points - a), _dot(ac, points - a)
    d3, d4 = _dot(ab, points - b), _dot(ac, points - b)
    d5, d6 = _dot(ab, points - c), _dot(ac, points - c)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    with np.errstate(invalid="ignore", divide="ignore"):
        total = va + vb + vc
        v, w = np.nan_to_num(vb / total), np.nan_to_num(vc / total)
        on_ab, on_ac = np.nan_to_num(d1 / (d1 - d3)), np.nan_to_num(d2 / (d2 - d6))
        on_bc = np.nan_to_num((d4 - d3) / ((d4 - d3) + (d5 - d6)))
    edge_bc = (va <= 0) & (d4 - d3 >= 0) & (d5 - d6 >= 0)
    v, w = np.where(edge_bc, 1 - on_bc, v), np.where(edge_bc, on_bc, w)
    edge_ac = (vb <= 0) & (d2 >= 0) & (d6 <= 0)
    v, w = np.where(edge_ac, 0.0, v), np.where(edge_ac, on_ac, w)
    at_c = (d6 >= 0) & (d5 <= d6)
    v, w = np.where(at_c, 0.0, v), np.where(at_c, 1.0, w)
    edge_ab = (vc <= 0) & (d1 >= 0) & (d3 <= 0)
    v, w = np.where(edge_ab, on_ab, v), np.where(edge_ab, 0.0, w)
    at_b = (d3 >= 0) & (d4 <= d3)
    v, w = np.where(at_b, 1.0, v), np.where(at_b, 0.0, w)
    at_a = (d1 <= 0) & (d2 <= 0)
    v, w = np.where(at_a, 0.0, v), np.where(at_a, 0.0, w)
    closest = a + v[:, None] * ab + w[:, None] * ac
    return np.stack([1 - v - w, v, w], axis=1), np.linalg.norm(points - closest, axis=1)


def _dot(a: Floats, b: Floats) -> Floats:
    return np.einsum("ij,ij->i", a, b)


def carry(values: ArrayLike, source: Surface, target: Surface, aligned: ArrayLike | None = None) -> Floats:
    """(m,) a mask (n,) of `source` on the vertices of `target`: each takes the value of the closest point of the
    source that faces its way. `aligned` (m, 3) are the target's vertices laid over the source, where they are not
    there already. Raises MoueError where the mask does not fit the source.
    """
    weights = checked_values(values, source.n_vertices)
    laid = target if aligned is None else target.at(aligned)
    return np.clip(closest_points(source, laid.positions, laid.vertex_normals).at(weights), 0.0, 1.0)


def lift(values: ArrayLike, subdivision: sp.spmatrix) -> Floats:
    """(m,) a mask (n,) on a finer level, by the matrix (m, n) that gives the finer mesh's vertices from the coarser
    one's; its rows sum to one. Raises MoueError where it does not fit.
    """
    weights = checked_values(values)
    if subdivision.shape[1] != len(weights):
        raise MoueError(f"the level has {subdivision.shape[1]} vertices, the mask {len(weights)} values")
    return np.clip(subdivision @ weights, 0.0, 1.0)
