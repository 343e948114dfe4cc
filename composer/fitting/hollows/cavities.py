"""The cavities of a library's skin: nostrils, ear canals, the mouth's inside and the eye sockets, found by visibility.

A cavity is a connected piece of skin whose visibility, smoothed a little, is below LOW, with one ring about it. Nothing
is asked of names, counts or landmarks, so that any head has its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.fitting.hollows.visibility import visibility
from composer.fitting.loops import Loops
from composer.fitting.rays import SculptRays
from composer.geometry.diffusion import diffused
from composer.geometry.polygons import Polygons, read_only
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

RAYS = 96
"""Directions in which each vertex of the skin looks (our choice: twice as many find the same cavities)."""
LOW = 0.25
"""Visibility below which skin is hidden: on one library the pieces are the same from .15 to .25, at .30 a fold of the
neck joins them."""
SMOOTH = 0.004
"""Width of the smoothing of the visibility, as a share of the diagonal (our choice: some 2 mm on a head)."""
GROW = 1
"""Rings by which a cavity is grown, so that its rim is in it (our choice)."""
LEAST = 12
"""Least vertices of a cavity; smaller pieces are creases (our choice)."""
DEEP = 0.1
"""Visibility below which a vertex of a cavity lies deep in it (our choice)."""
FEW_DEEP = 4
"""With fewer deep vertices a cavity is shallow, and its most hidden third is taken instead (our choice)."""


@dataclass(frozen=True, eq=False)
class Cavities:
    """The `visibility` (s,) of a head's s skin vertices, and its cavities as `pieces`, flags (s,) each."""

    visibility: Rows
    pieces: tuple[Flags, ...]

    def deep(self, piece: Flags) -> Flags:
        """(s,) the vertices deep in a cavity."""
        deep = piece & (self.visibility < DEEP)
        if deep.sum() >= FEW_DEEP:
            return deep
        return piece & (self.visibility <= float(np.quantile(self.visibility[piece], 1.0 / 3.0)))


def find_cavities(surface: Surface) -> Cavities:
    """The cavities of a skin of s vertices, in mm."""
    rays = SculptRays(surface.positions, surface.polygons.triangles)
    openness = visibility(rays, surface.positions, surface.vertex_normals, surface.diagonal_mm, RAYS)
    used = surface.polygons.valence > 0
    openness[~used] = 1.0
    smooth = diffused(surface, openness, (SMOOTH * surface.diagonal_mm) ** 2)
    hidden = Loops(surface.polygons, surface.positions).grown((smooth < LOW) & used, GROW)
    pieces = [piece for piece in connected(surface.polygons, hidden) if piece.sum() >= LEAST]
    return Cavities(read_only(openness), tuple(read_only(piece) for piece in pieces))


def connected(polygons: Polygons, flags: Flags) -> list[Flags]:
    """The pieces (n,) of flagged vertices (n,) that edges join, one after the other."""
    edges = polygons.edges[flags[polygons.edges].all(axis=1)]
    n = polygons.n_vertices
    links = sp.csr_matrix((np.ones(len(edges), np.int8), (edges[:, 0], edges[:, 1])), shape=(n, n))
    label = connected_components(links, directed=False)[1]
    return [flags & (label == number) for number in np.unique(label[flags])]
