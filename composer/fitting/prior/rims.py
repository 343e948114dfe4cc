"""Rims: where the sculpt ends, and the line of the library's skin that ends there.

A closest point says nothing of sliding towards an edge. A sculpt's longest open border (a cut neck, the edge of a bust)
is matched with a line of the skin: an open border of its own, or the line where materials or face groups meet. It is
matched only where both are equally long and near each other. The line is then drawn across itself, never along.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from composer.fitting.closest import ClosestSurface
from composer.fitting.skin import Skin
from composer.head.head import Head

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAST = 0.5
"""A border of the sculpt shorter than this share of the head's diagonal is no rim: the holes of eyes and mouth are
shorter (our choice)."""
NEAR = 0.04
"""Furthest mean distance of a line of the skin from the sculpt's border, both ways, once the landmarks have moved it,
as a share of the diagonal (our choice: 19 mm on a bust)."""
ALIKE = 1.3
"""Largest ratio of the lengths of both lines, either way (our choice; a face cut by hand is far above it)."""


@dataclass(frozen=True, eq=False)
class Line:
    """A line on a mesh: directed `edges` (e, 2) of its vertices, and their total `length` in mm."""

    edges: Ints
    length: float

    @property
    def vertices(self) -> Ints:
        """(k,) its vertices, in ascending order."""
        return np.unique(self.edges)


@dataclass(frozen=True, eq=False)
class Rim:
    """A line of the skin, `vertices` (k,) with its directed `edges` (e, 2) as numbers of `vertices`, that belongs to
    the `border` (q, 3) mm of a sculpt."""

    vertices: Ints
    edges: Ints
    border: cKDTree

    def pulls(self, positions: Rows) -> tuple[Rows, Rows, Rows]:
        """For the line at `positions` (k, 3): the way to the border (k, 3), the unit direction along the line (k, 3),
        and the distance (k,)."""
        along = np.zeros_like(positions)
        way = positions[self.edges[:, 1]] - positions[self.edges[:, 0]]
        np.add.at(along, self.edges[:, 0], way)
        np.add.at(along, self.edges[:, 1], way)
        along /= np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]
        distance, nearest = self.border.query(positions)
        return self.border.data[nearest] - positions, along, distance


def border_lines(triangles: NDArray, positions: Rows) -> list[Line]:
    """The open borders of `triangles` (t, 3) over `positions` (n, 3) mm, the longest first."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).astype(np.int64)
    key = np.sort(edges, axis=1) @ (len(positions), 1)
    _, first, uses = np.unique(key, return_index=True, return_counts=True)
    edges = edges[first[uses == 1]]
    if not len(edges):
        return []
    joined = sp.coo_matrix((np.ones(len(edges)), edges.T), (len(positions), len(positions)))
    piece = connected_components(joined, directed=False)[1][edges[:, 0]]
    lengths = np.linalg.norm(positions[edges[:, 1]] - positions[edges[:, 0]], axis=1)
    total = np.bincount(piece, weights=lengths)
    return [Line(edges[piece == number], float(total[number])) for number in np.argsort(-total) if total[number] > 0.0]


def find_rim(head: Head, skin: Skin, positions: Rows, sculpt: ClosestSurface) -> tuple[Rim, str] | None:
    """The rim between the `skin` at `positions` (s, 3) mm, moved by the landmarks, and the `sculpt`, with words for
    where it was found on the library; None where the sculpt has no long border, or no line of the skin fits it."""
    borders = border_lines(sculpt.triangles, sculpt.positions)
    if not borders or borders[0].length < LEAST * head.diagonal:
        return None
    target = sculpt.positions[borders[0].vertices]
    tree = cKDTree(target)
    best: tuple[float, Line, str] | None = None
    for words, line in _lines(head, skin, positions):
        if not 1.0 / ALIKE < line.length / borders[0].length < ALIKE:
            continue
        at = positions[line.vertices]
        away = max(float(tree.query(at)[0].mean()), float(cKDTree(at).query(target)[0].mean()))
        if away < NEAR * head.diagonal and (best is None or away < best[0]):
            best = away, line, words
    if best is None:
        return None
    vertices, flat = np.unique(best[1].edges, return_inverse=True)
    return Rim(vertices, flat.reshape(-1, 2), tree), best[2]


def _lines(head: Head, skin: Skin, positions: Rows) -> Iterator[tuple[str, Line]]:
    """Lines of the skin at which a sculpt may end, the longest of each kind, with words for it."""
    own = border_lines(skin.polygons.triangles, positions)
    if own:
        yield "the library's own border", own[0]
    triangles, face = head.polygons.triangles, head.polygons.triangle_face
    for kind, sets in (("material", head.materials), ("group", head.groups)):
        for name, faces in sets.items():
            flags = np.zeros(head.polygons.n_faces, dtype=bool)
            flags[np.asarray(faces, dtype=np.int64)] = True
            chosen = skin.rank[triangles[flags[face]]]
            chosen = chosen[(chosen >= 0).all(axis=1)]
            lines = border_lines(chosen, positions) if len(chosen) else []
            if lines:
                yield f"the edge of the {kind} {name}", lines[0]
