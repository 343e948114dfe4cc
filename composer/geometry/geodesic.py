"""Distance along the surface by the heat method, factored once and cheap for every source after that.

Crane, Weischedel and Wardetzky 2013, "Geodesics in heat": let heat flow for a short time t, take the direction
against its gradient, and find the function whose gradient that is. It gives the distance of every vertex at once. For
the small window under a brush, and for lines that are not crossed, see marching.py.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.surface import Floats, Surface, factorise
from composer.geometry.vectors import cross


class HeatDistance:
    """The heat method on one surface. Making it factors two matrices; `solve` only substitutes back.

    >>> from composer.geometry.polygons import Polygons
    >>> side = 41  # a flat sheet of 40 x 40 mm, a vertex every millimetre
    >>> at = np.arange(side * side).reshape(side, side)
    >>> quads = np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], axis=-1).reshape(-1, 4)
    >>> places = np.stack([*np.divmod(at.ravel(), side), 0 * at.ravel()], axis=1).astype(float)
    >>> sheet = Surface(Polygons.from_faces(quads.tolist(), side * side), places)
    >>> distance = HeatDistance(sheet).solve([at[20, 20]])
    >>> off = distance[at[20, 30]] - 10.0, distance[at[30, 30]] - 10.0 * 2**0.5
    >>> bool(np.abs(off).max() < 0.5)  # right to half an edge
    True
    """

    def __init__(self, surface: Surface, time_factor: float = 1.0) -> None:
        """`time_factor` times the squared mean edge is the time t for which heat flows (the paper's m; 1 is its
        advice). Raises MoueError on a surface without polygons or a factor that is not positive.
        """
        if not time_factor > 0:
            raise MoueError("the time factor of the heat method must be above zero")
        if surface.polygons.n_faces == 0:
            raise MoueError("there is no surface to measure along: the mesh has no polygons")
        self.surface = surface
        self.components = surface.polygons.components
        self._flow = surface.factor(time_factor * surface.mean_edge_mm**2)
        self._order = np.argsort(self._flow.perm_c)
        poisson = (surface.laplacian + _pins(surface))[self._order][:, self._order]
        self._poisson = factorise(poisson, ordered=True)
        self._triangles = surface.fans[0]
        self._flux_weight = (0.5 * surface.fans[1] * surface.fan_doubled_areas)[:, None]
        self._slopes = _slopes(surface)

    def gradient(self, values: ArrayLike) -> Floats:
        """(T, 3) the gradient, per mm, of vertex values (n,) on each triangle of `surface.fans`."""
        corners: Floats = np.asarray(values, dtype=np.float64)[self._triangles]
        slopes: Floats = np.einsum("ti,tid->td", corners, self._slopes)
        return slopes

    def divergence(self, field: Floats) -> Floats:
        """(n,) integrated divergence of a field (T, 3), signed so that divergence(gradient(x)) is Laplacian x."""
        flux = np.einsum("tid,td->ti", self._slopes, field)
        flux *= self._flux_weight
        summed = np.bincount(self._triangles.ravel(), weights=flux.ravel(), minlength=self.surface.n_vertices)
        return summed.astype(np.float64, copy=False)

    def solve(self, sources: ArrayLike) -> Floats:
        """(n,) distance in mm from the nearest of `sources` (vertex indices), inf on pieces that hold none.

        The mean over the sources is set to zero and lower values are raised to it. Raises MoueError where there is no
        source or one is not a vertex.
        """
        start = checked_vertices(sources, self.surface.n_vertices, "source")
        heat = np.zeros(self.surface.n_vertices)
        heat[start] = 1.0
        heat = self._flow.solve(heat)
        slope = self.gradient(heat)
        length = np.sqrt(np.einsum("td,td->t", slope, slope))
        slope *= np.divide(-1.0, length, out=np.zeros_like(length), where=length > 0)[:, None]
        distance = np.empty_like(heat)
        distance[self._order] = self._poisson.solve(self.divergence(slope)[self._order])
        return self._levelled(distance, start)

    def _levelled(self, distance: Floats, start: NDArray) -> Floats:
        pieces = self.components
        held = np.bincount(pieces[start], minlength=int(pieces.max()) + 1)
        zero = np.bincount(pieces[start], weights=distance[start], minlength=len(held)) / np.maximum(held, 1)
        levelled = np.maximum(distance - zero[pieces], 0.0)
        levelled[start] = 0.0
        levelled[held[pieces] == 0] = np.inf
        return levelled


def checked_vertices(vertices: ArrayLike, n: int, word: str) -> NDArray[np.int64]:
    """Vertex indices (k,), sorted and single. Raises MoueError where there are none or one is not in [0, n)."""
    given: NDArray = np.unique(np.atleast_1d(np.asarray(vertices)))
    if given.size == 0:
        raise MoueError(f"no {word} vertex is given")
    if given.dtype.kind not in "iu":
        raise MoueError(f"a {word} must be the index of a vertex")
    if given[0] < 0 or given[-1] >= n:
        bad = int(given[0] if given[0] < 0 else given[-1])
        raise MoueError(f"{word} vertex {bad} is not one of the mesh's {n} vertices")
    return given.astype(np.int64)


def _pins(surface: Surface) -> sp.csc_matrix:
    """A diagonal that holds the first vertex of every piece, which makes the Laplacian invertible. The right-hand side
    sums to zero on each piece, so the held vertex becomes zero and nothing else changes.
    """
    first = np.unique(surface.polygons.components, return_index=True)[1]
    held = np.zeros(surface.n_vertices)
    diagonal = surface.laplacian.diagonal()
    held[first] = np.where(diagonal[first] > 0, diagonal[first], 1.0)
    lonely = (surface.polygons.valence == 0) | (diagonal <= 0)
    held[lonely] = 1.0
    return sp.diags(held, format="csc")


def _slopes(surface: Surface) -> Floats:
    """(T, 3, 3) the gradient of the hat function of each corner of each triangle of `surface.fans`, per mm."""
    triangles = surface.fans[0]
    normal = surface.fan_vectors / surface.fan_doubled_areas[:, None]
    slopes = np.empty((len(triangles), 3, 3))
    for i in range(3):
        opposite = surface.positions[triangles[:, (i + 2) % 3]] - surface.positions[triangles[:, (i + 1) % 3]]
        slopes[:, i] = cross(normal, opposite)
    slopes /= surface.fan_doubled_areas[:, None, None]
    return slopes
