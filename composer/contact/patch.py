"""A patch of skin about two lines that can meet, and how it answers to being pushed where the two sides touch.

The patch reaches as far from the lines as a share of their length, along the skin. A push at a vertex moves the skin
around it smoothly: with the patch's cotangent Laplacian L, lumped mass M and a reach r, K = r^2 L + M, a push answers

    R = W K^-1 M K^-1 E W      (columns: the vertices that may touch; W a window that fades to the rim)

K squared, so that a single push has no cusp; scaled so that a typical push moves its own vertex by one. Every
correction is R f for some pushes f (k, 3), and R's rows at the touching vertices, G, are the energy f' G f of the
smallest field that does it. Everything is measured along the skin or relative to the lines, so that it turns and
grows with the head.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import dijkstra

from composer.contact.lines import Meeting
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface, factorise

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FADE = 0.45
"""Of a patch's radius: how wide its rim is, over which a correction fades."""
SIDE = 0.13
"""Of a line's length: how far from its line a lip or a lid can touch the other one. Lids 4.5 mm, lips 7 mm."""
FEWEST_EDGES = 3.0
"""Edges of the lines: a patch's sides reach at least this far, its radius twice that, on a coarse head."""
REACH = 0.1
"""Of a line's length: how far a push is felt. Lids 3 mm, lips 5 mm."""
LEAST_REACH = 0.75
"""Edges of the lines: a push is felt at least so far."""


class Patch:
    """The patch of one meeting on a skin: `vertices` (m,) of the skin, `sides` two lists of its own vertices that can
    touch each other, `window` (m,) in [0, 1], `length_mm` of the longer line and `edge_mm` the mean edge of both."""

    def __init__(
        self, skin: Surface, meeting: Meeting, still: NDArray[np.bool_] | None = None, new: Surface | None = None,
        scale: float = 1.0,
    ) -> None:  # fmt: skip
        """Take a `skin` at rest, one of its meetings, and what of the skin (s,) is `still` and not to be moved. With a
        `new` skin of the same polygons, `scale` times as large, the patch ends where it does on either of them: the
        skin beside a line may be stretched on one.
        """
        self.meeting = meeting
        lines = (meeting.upper, meeting.lower)
        edges = [np.linalg.norm(np.diff(skin.positions[line], axis=0), axis=1) for line in lines]
        self.length_mm = float(max(each.sum() for each in edges))
        self.edge_mm = float(np.concatenate(edges).mean())
        coarse = FEWEST_EDGES * self.edge_mm
        radius, side = max(meeting.about * self.length_mm, 2.0 * coarse), max(SIDE * self.length_mm, coarse)
        upper, lower = (_along(skin, line, radius) for line in lines)
        away = np.minimum(upper, lower)
        reach = away
        if new is not None:
            lines_new = np.unique(np.concatenate(lines))
            reach = np.maximum(away, _along(new, lines_new, scale * radius) / scale)
        self.vertices = np.flatnonzero(reach < radius)
        share = np.clip((radius - reach[self.vertices]) / (FADE * radius), 0.0, 1.0)
        self.window = share * share * (3.0 - 2.0 * share)
        if still is not None:
            self.window[still[self.vertices]] = 0.0
        upper, lower, away = upper[self.vertices], lower[self.vertices], away[self.vertices]
        self.sides = (
            np.flatnonzero((upper < lower) & (away < side)), np.flatnonzero((lower < upper) & (away < side))
        )  # fmt: skip
        chosen = np.zeros(skin.n_vertices, dtype=bool)
        chosen[self.vertices] = True
        self.polygons = _within(skin.polygons, chosen)

    @property
    def reach_mm(self) -> float:
        """How far a push is felt."""
        return max(REACH * self.length_mm, LEAST_REACH * self.edge_mm)

    def response(self, skin: Surface, pushed: NDArray, scale: float = 1.0) -> Response:
        """How the patch answers on `skin`, of the same polygons and `scale` times as large, to pushes at its vertices
        `pushed` (k,).
        """
        return self.response_of(skin.positions[self.vertices], pushed, scale)

    def response_of(self, places: NDArray, pushed: NDArray, scale: float = 1.0) -> Response:
        """The same, for the patch's own vertices at `places` (m, 3)."""
        at = Surface(self.polygons, places)
        mass = at.mass
        factor = factorise((scale * self.reach_mm) ** 2 * at.laplacian + sp.diags(mass, format="csc"))
        push = np.zeros((len(self.vertices), len(pushed)), order="F")
        push[pushed, np.arange(len(pushed))] = self.window[pushed]
        answer = self.window[:, None] * factor.solve(np.asfortranarray(mass[:, None] * factor.solve(push)))
        typical = float(np.median(answer[pushed, np.arange(len(pushed))])) if len(pushed) else 1.0
        return Response(np.asarray(pushed), answer / max(typical, np.finfo(float).tiny))


class Response:
    """What pushes at `pushed` (k,) vertices of a patch do to all of it: `field` (m, k) without unit."""

    def __init__(self, pushed: NDArray, field: Floats) -> None:
        self.pushed, self.field = pushed, field

    @cached_property
    def energy(self) -> Floats:
        """(k, k) symmetric: G of the file's words."""
        own = self.field[self.pushed]
        return 0.5 * (own + own.T)


def _along(skin: Surface, start: NDArray, limit: float) -> Floats:
    """(s,) mm along the skin's edges from the nearest of `start`, infinite beyond `limit`."""
    a, b = skin.polygons.edges.T
    n = skin.n_vertices
    ways = sp.csr_matrix((np.maximum(skin.edge_lengths, 1e-12), (a, b)), shape=(n, n))
    return np.asarray(dijkstra(ways, directed=False, indices=np.unique(start), min_only=True, limit=limit))


def _within(polygons: Polygons, chosen: NDArray[np.bool_]) -> Polygons:
    """The polygons whose corners are all `chosen` (n,), over the chosen vertices alone."""
    if not polygons.n_faces:
        return polygons
    kept = np.logical_and.reduceat(chosen[polygons.indices], polygons.starts[:-1])
    number = np.cumsum(chosen) - 1
    return Polygons(polygons.counts[kept], number[polygons.indices[kept[polygons.corner_face]]], int(chosen.sum()))
