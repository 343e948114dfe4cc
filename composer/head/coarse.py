"""A large surface made coarse: few of its vertices, joined by coarser polygons, and values lifted back.

A sculpted or subdivided head repeats one connectivity at ever finer levels. Steps of Catmull-Clark are undone by
connectivity alone (`composer.head.cage`); what is left are some of the mesh's own vertices, so values come down without
any loss, and go up by the same subdivision that lifts every mask. A mesh that was never subdivided is clustered
(`composer.head.clusters`). Either way the rows are weights that are not negative and sum to one: shares that sum to one
still do, and nothing leaves [0, 1] but by rounding.

What is smooth over some millimetres, as regions and distances are, needs no more than `ENOUGH` vertices to be known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.geometry.polygons import read_only
from composer.geometry.surface import Surface
from composer.head.cage import cage_polygons
from composer.head.clusters import Clusters, clusters_of
from composer.head.levels import Refinement

LARGE = 80_000
"""Vertices from which a head is large: what takes some seconds on it is found on a coarser level. Our choice."""
ENOUGH = 20_000
"""No level with fewer vertices is taken. Our choice: an expression library's own cage has 10,000 to 40,000."""

Ints = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Coarse:
    """A coarser level of a surface of n vertices and f polygons.

    `surface` has m vertices; `vertices` (m,) is the vertex of the fine surface that each of them is, and `faces` (g,) a
    fine polygon inside each coarse one. `steps` are the subdivisions from it to the fine surface, coarsest first, each
    with the vertex (n_k,) of its own finer level that every vertex of the subdivision is; without them the surface was
    clustered.
    """

    surface: Surface
    vertices: Ints
    faces: Ints
    steps: tuple[tuple[Refinement, Ints], ...]
    clusters: Clusters | None = None

    def down(self, values: NDArray) -> NDArray:
        """Values (n,) or (n, k) at the coarse vertices: (m,) or (m, k)."""
        return values[self.vertices]

    def up(self, values: NDArray) -> NDArray:
        """Values (m,) or (m, k) lifted to the fine surface: (n,) or (n, k), of the same type. Raises MoueError where
        there is not one value a coarse vertex."""
        if self.clusters is not None:
            return self.clusters.up(values)
        for step, order in self.steps:
            lifted = step.apply(values)
            values = np.empty_like(lifted)
            values[order] = lifted
        return values

    def shares_up(self, masks: Sequence[NDArray]) -> list[NDArray[np.float64]]:
        """Masks, each (m,) in [0, 1], lifted: each (n,) in [0, 1]."""
        return [np.clip(self.up(np.asarray(mask, dtype=np.float64)), 0.0, 1.0) for mask in masks]

    def vertices_up(self, chosen: NDArray) -> Ints:
        """The fine vertices (k,), ascending, that belong to `chosen` coarse ones: to more than one half."""
        on = np.zeros(len(self.vertices), dtype=np.float32)
        on[chosen] = 1.0
        return np.flatnonzero(self.up(on) > 0.5).astype(np.int32)

    def vertices_down(self, chosen: NDArray) -> Ints:
        """The coarse vertices (k,), ascending, that are among the fine ones `chosen`."""
        on = np.zeros(self.n_fine, dtype=bool)
        on[chosen] = True
        return np.flatnonzero(on[self.vertices]).astype(np.int32)

    def faces_down(self, chosen: NDArray, n_faces: int) -> Ints:
        """The coarse polygons (k,), ascending, whose fine polygon is among `chosen` of the `n_faces` fine ones."""
        on = np.zeros(n_faces, dtype=bool)
        on[chosen] = True
        return np.flatnonzero(on[self.faces]).astype(np.int32)

    def line_up(self, line: NDArray) -> Ints:
        """A line of coarse vertices (k,) as fine ones, with those that lie on the edges between them."""
        if self.clusters is not None:
            return self.vertices[line]
        for step, order in self.steps:
            line = order[step.curve(line)]
        return np.asarray(line, dtype=np.int32)

    @property
    def n_fine(self) -> int:
        """Vertices n of the fine surface."""
        return len(self.clusters.of) if self.clusters is not None else self.steps[-1][0].n_vertices

    @cached_property
    def parents(self) -> Ints:
        """(n,) for each fine vertex a coarse one at most an edge of the coarse level away."""
        if self.clusters is not None:
            return self.clusters.of
        parent = np.arange(len(self.vertices), dtype=np.int32)
        for step, order in self.steps:
            coarse = step.coarse
            near = np.concatenate([
                np.arange(coarse.n_vertices), coarse.edges[:, 0], coarse.indices[coarse.starts[:-1]],
            ])  # fmt: skip
            finer = np.empty(len(order), dtype=np.int32)
            finer[order] = parent[near]
            parent = finer
        return parent


def coarse_of(surface: Surface) -> Coarse | None:
    """The coarser level of a large surface, found once; None for one with fewer than `LARGE` vertices, and for one
    whose pieces are all small.
    """
    return surface.derived(_large) if surface.n_vertices >= LARGE else None


def known_coarse(surface: Surface) -> Coarse | None:
    """The coarser level of a surface where it was found already; None for all others."""
    return surface.derived(_large) if surface.knows(_large) else None


def coarsened(surface: Surface, enough: int) -> Coarse | None:
    """The coarsest level of a surface that still has `enough` vertices; None where not one step can be undone, and as
    `clustered`."""
    fine = surface.polygons
    vertices, faces = np.arange(fine.n_vertices, dtype=np.int32), np.arange(fine.n_faces, dtype=np.int32)
    steps: list[tuple[Refinement, Ints]] = []
    polygons = fine
    while True:
        undone = cage_polygons(polygons)
        if undone is None or undone[0].n_vertices < enough:
            break
        cage, order = undone
        inside = np.zeros(polygons.n_vertices, dtype=np.int32)
        inside[polygons.indices] = polygons.corner_face
        faces = faces[inside[order[len(order) - cage.n_faces :]]]
        vertices = vertices[order[: cage.n_vertices]]
        steps.append((Refinement(cage), order))
        polygons = cage
    if not steps:
        return None
    level = Surface(polygons, surface.positions[vertices])
    return Coarse(level, read_only(vertices), read_only(faces), tuple(reversed(steps)))


def clustered(surface: Surface, enough: int) -> Coarse | None:
    """About `enough` vertices of a surface, whatever its polygons; None where that leaves out less than a half."""
    found = clusters_of(surface, enough)
    if 2 * len(found.vertices) > surface.n_vertices:
        return None
    level = Surface(found.polygons, surface.positions[found.vertices])
    return Coarse(level, read_only(found.vertices), read_only(found.faces), (), found)


def _large(surface: Surface) -> Coarse | None:
    return coarsened(surface, ENOUGH) or clustered(surface, ENOUGH)
