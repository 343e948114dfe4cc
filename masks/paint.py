"""A brush on the surface: dabs that follow it, and strokes that can be replayed.

A dab reaches its radius *along the surface*, ends at barriers, stays on the side of a barrier on which the stroke
started, and does not pass a fold: vertices that face away from the dab's normal get nothing. For each vertex a stroke
keeps the strongest dab and blends once from the mask at its start. So the spacing and order of dabs do not change the
result, and a replay gives the same mask.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.barriers import Barriers
from composer.geometry.geodesic import checked_vertices
from composer.geometry.marching import Indices
from composer.geometry.surface import Floats, Surface
from composer.geometry.triangles_about import TrianglesAbout
from masks.mask import checked_values
from masks.soften import smoothstep

Kind = Literal["paint", "erase", "soften"]
KINDS: tuple[Kind, ...] = ("paint", "erase", "soften")
FACING = 0.3
"""The cosine between a vertex's normal and the dab's from which the vertex gets the full dab; at 0 it gets nothing. A
design choice, no source.
"""
SMOOTHING_PASSES = 8
"""Passes of averaging with neighbours for the soften brush. A design choice, no source."""


@dataclass(frozen=True)
class Brush:
    """`radius_mm` along the surface; `strength` in [0, 1] at the centre; `hardness` in [0, 1), the share of the
    radius with the full strength; from there it falls by smoothstep to 0 at the radius.
    """

    radius_mm: float
    strength: float = 1.0
    hardness: float = 0.0

    def __post_init__(self) -> None:
        if not (np.isfinite(self.radius_mm) and self.radius_mm > 0):
            raise MoueError("the brush's radius must be above zero")
        if not 0 <= self.strength <= 1:
            raise MoueError("the brush's strength must lie between 0 and 1")
        if not 0 <= self.hardness < 1:
            raise MoueError("the brush's hardness must lie between 0 and 1, 1 left out")

    def weight(self, distance_mm: Floats) -> Floats:
        """(k,) in [0, strength] at distances (k,) in mm from the centre."""
        return self.strength * smoothstep((1.0 - distance_mm / self.radius_mm) / (1.0 - self.hardness))


class Painter:
    """Computes the footprint of dabs on one surface with its barriers. Tables are computed once. A pose has its own
    painter, which writes the same masks.
    """

    def __init__(self, surface: Surface, barriers: Barriers | None = None) -> None:
        """Raises MoueError where the barriers lie on another mesh."""
        if barriers is not None and not barriers.surface.polygons.same_as(surface.polygons):
            raise MoueError("the barriers lie on another mesh")
        self.surface = surface
        given = barriers or Barriers(surface, ())
        same = given.surface is surface
        self.barriers = given if same else Barriers(surface, given.curves, given.reach_mm)
        self._sides = None if same else given

    @property
    def sides(self) -> NDArray[np.int32]:
        """(n,) sides of the barriers, measured on the barriers' own surface (the neutral, for a pose)."""
        return (self._sides or self.barriers).sides

    def prepare(self) -> None:
        """Compute all tables now, so that the first dab is as fast as the others."""
        marching = self.barriers.marching
        _ = marching.tree, marching.graph, marching.updates, self.sides, self.surface.vertex_normals
        _ = self.surface.derived(TrianglesAbout)

    def side_at(self, corners: ArrayLike, bary: ArrayLike) -> int:
        """The side of a point of a polygon: that of its corner with the largest weight that has one, else 0."""
        corner, weight = np.asarray(corners, dtype=np.int64), np.asarray(bary, dtype=np.float64)
        for index in np.argsort(-weight, kind="stable"):
            if self.sides[corner[index]]:
                return int(self.sides[corner[index]])
            if not self.barriers.blocked[corner[index]]:
                return 0
        return 0

    def footprint(
        self, corners: ArrayLike, bary: ArrayLike, brush: Brush, side: int | None = None
    ) -> tuple[Indices, Floats]:
        """The footprint of one dab: vertices (k,) and weights (k,) in [0, strength].

        Its centre is the point of the polygon corners `corners` (c,) with weights `bary` (c,) that sum to 1.
        `side` is the side to stay on (0: any; None: the side of the centre). Raises MoueError where the corners
        are not vertices or the weights do not fit them.
        """
        corner, weight = np.asarray(corners, dtype=np.int64), np.asarray(bary, dtype=np.float64)
        checked_vertices(corner, self.surface.n_vertices, "brush")
        if weight.shape != corner.shape or not abs(float(weight.sum()) - 1.0) < 1e-6:
            raise MoueError("a brush's centre needs one weight a corner, and they must sum to one")
        stay = self.side_at(corner, weight) if side is None else side
        normals = self.surface.vertex_normals
        facing = weight @ normals[corner]
        facing /= max(float(np.linalg.norm(facing)), 1e-12)

        def allowed(vertices: Indices) -> NDArray[np.bool_]:
            turned = normals[vertices] @ facing > 0
            turned[np.isin(vertices, corner)] = True
            if stay == 0:
                return turned
            there = self.sides[vertices]
            return turned & ((there == 0) | (there == stay))

        centre = weight @ self.surface.positions[corner]
        vertices, distance = self.barriers.marching.from_point(corner, centre, brush.radius_mm, allowed)
        if stay:
            keep = ~self.barriers.blocked[vertices] | self._own_line(stay)[vertices]
            vertices, distance = vertices[keep], distance[keep]
        turn = smoothstep((normals[vertices] @ facing) / FACING)
        amount = brush.weight(distance) * turn
        keep = amount > 1e-12
        return vertices[keep], amount[keep]

    @cached_property
    def _lines(self) -> dict[int, NDArray[np.bool_]]:
        lines: dict[int, NDArray[np.bool_]] = {}
        for number, curve in enumerate(self.barriers.curves):
            on = np.zeros(self.surface.n_vertices, dtype=bool)
            on[curve] = True
            lines[2 * number + 1] = lines[2 * number + 2] = on
        return lines

    def _own_line(self, side: int) -> NDArray[np.bool_]:
        """(n,) the vertices of the line that has this side."""
        return self._lines[side]

    @cached_property
    def averaging(self) -> sp.csr_matrix:
        """(n, n) the mean of a vertex's neighbours, half of it itself; vertices of a barrier keep their value."""
        adjacency = self.surface.polygons.adjacency
        degree = np.maximum(np.asarray(adjacency.sum(axis=1)).ravel(), 1.0)
        share = np.where(self.barriers.blocked | (self.surface.polygons.valence == 0), 0.0, 0.5)
        return (sp.diags(share / degree) @ adjacency + sp.diags(1.0 - share)).tocsr()

    def smoothed(self, values: Floats, passes: int = SMOOTHING_PASSES) -> Floats:
        """(n,) the mask (n,) averaged with its neighbours, `passes` times; nothing passes a barrier."""
        for _ in range(passes):
            values = self.averaging @ values
        return values


class Stroke:
    """One stroke over a mask, from press to release. `values` (n,) is the current mask."""

    def __init__(self, painter: Painter, values: ArrayLike, brush: Brush, kind: Kind = "paint") -> None:
        """`values` (n,) is the mask at the start; it is not changed. Raises MoueError where it does not fit the surface
        or the kind is unknown.
        """
        if kind not in KINDS:
            raise MoueError(f"a brush can {', '.join(KINDS)}; it cannot {kind}")
        self.painter = painter
        self.brush = brush
        self.kind: Kind = kind
        self.before = checked_values(values, painter.surface.n_vertices)
        self.values = self.before.copy()
        self.cover = np.zeros(len(self.before))
        self.side = 0

    @cached_property
    def _towards(self) -> Floats:
        if self.kind == "soften":
            return self.painter.smoothed(self.before)
        return np.full(len(self.before), 1.0 if self.kind == "paint" else 0.0)

    def dab(self, corners: ArrayLike, bary: ArrayLike, brush: Brush | None = None) -> Indices:
        """Apply the brush (or another one for this dab, for pressure) at a point. Returns the vertices (k,) with a new
        value. The stroke stays on the side of the first barrier that it meets.
        """
        if self.side == 0:
            self.side = self.painter.side_at(corners, bary)
        dab_side = self.painter.side_at(corners, bary)
        if self.side and dab_side not in (0, self.side):
            return np.empty(0, dtype=np.int64)
        vertices, amount = self.painter.footprint(corners, bary, brush or self.brush, self.side)
        more = amount > self.cover[vertices]
        vertices, amount = vertices[more], amount[more]
        self.cover[vertices] = amount
        start = self.before[vertices]
        self.values[vertices] = start + amount * (self._towards[vertices] - start)
        return vertices


def fill(values: ArrayLike, inside: ArrayLike, amount: float = 1.0) -> Floats:
    """(n,) the mask with every vertex of `inside` (n,) bool set to `amount` in [0, 1]."""
    weights = checked_values(values)
    flags = np.asarray(inside, dtype=bool)
    if flags.shape != weights.shape or not 0 <= amount <= 1:
        raise MoueError("a fill needs one flag a vertex and an amount between 0 and 1")
    weights[flags] = amount
    return weights
