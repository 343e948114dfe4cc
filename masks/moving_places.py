"""The places that a library moves, and a profile for each: how far each shape moves it, on a like scale.

Each shape and each place is put on a like scale, so that a dropped jaw does not outweigh every brow and lid together.
On a symmetric head the two sides are laid on one another, and a place knows how far each shape moves it and its
partner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.geometry.stencils import Stencils
from composer.geometry.surface import Floats, Surface

MOVES = 0.1
"""A vertex belongs to a region where a shape moves it by this share of the most that any vertex is moved."""
FAINT = 0.2
"""Of a strong motion: where a vertex moves less than this, its profile counts for less."""


@dataclass(frozen=True, eq=False)
class MovingPlaces:
    """The m vertices to be parted (with a mirror map those of one side) and what is known of each.

    `features` (f, m) profiles; `mass` (m,) mm^2; `graph` (m, m) lengths in mm to places beside; `positions` (m, 3)
    mm; `aside` (m,) how far each is from the midline, mm; `loudest` (m,) the most that a shape moves it, of the most
    that it moves anything; `partner` (n,) or None; `width` of the face in mm.
    """

    vertices: NDArray[np.int64]
    features: Floats
    mass: Floats
    graph: sp.csr_matrix
    positions: Floats
    aside: Floats
    loudest: Floats
    partner: NDArray[np.int64] | None
    width: float

    @classmethod
    def of(cls, surface: Surface, amounts: Floats, partner: NDArray[np.int64] | None) -> MovingPlaces:
        """What moves, and how, from amounts (s, n) in mm."""
        peak = np.sqrt(amounts.max(axis=1, keepdims=True))
        loud = (amounts / np.maximum(peak, 1e-12)).max(axis=0)
        if partner is not None:
            loud = np.maximum(loud, loud[partner])
        moves = loud >= MOVES * loud.max()
        width = _width(surface, moves)
        if partner is not None:
            moves &= _one_side(surface.positions, partner)
        vertices = np.flatnonzero(moves)
        size = np.sqrt(np.einsum("sn,sn,n->s", amounts, amounts, surface.mass))
        even = amounts / np.sqrt(np.maximum(size, 1e-12))[:, None]
        profiles = even[:, vertices]
        if partner is not None:
            profiles = np.concatenate([profiles, even[:, partner[vertices]]])
        length = np.sqrt(np.einsum("fm,fm->m", profiles, profiles))
        strong = np.sqrt(np.einsum("sn,sn->n", amounts[:, vertices], amounts[:, vertices]))
        faint = FAINT * np.sqrt(np.average(strong**2, weights=surface.mass[vertices]))
        features = profiles * (strong / np.sqrt(strong**2 + faint**2) / np.maximum(length, 1e-12))
        across = vertices if partner is None else partner[vertices]
        aside = 0.5 * np.linalg.norm(surface.positions[vertices] - surface.positions[across], axis=1)
        graph = surface.derived(Stencils).graph[vertices][:, vertices].tocsr()
        return cls(
            vertices, features, surface.mass[vertices], graph, surface.positions[vertices], aside, loud[vertices],
            partner, width,
        )  # fmt: skip


def _width(surface: Surface, moves: NDArray[np.bool_]) -> float:
    """The width in mm of the face, which is what moves: that of an even strip that spreads as it does across, in the
    second of its principal directions. However a head lies, whatever hangs below it.
    """
    at, weight = surface.positions[moves], surface.mass[moves]
    off = at - np.average(at, axis=0, weights=weight)
    spread = np.linalg.eigvalsh((off * weight[:, None]).T @ off / weight.sum())
    return float(np.sqrt(12.0 * max(spread[1], 0.0)))


def _one_side(positions: Floats, partner: NDArray[np.int64]) -> NDArray[np.bool_]:
    """(n,) the vertices on one side of the mirror and on the midline: that of larger x, where x tells."""
    across = positions - positions[partner]
    normal = across[np.argmax(np.einsum("ij,ij->i", across, across))]
    normal = normal * np.sign(normal[np.argmax(np.abs(normal) > 1e-6 * np.abs(normal).max())])
    return np.asarray(across @ normal >= 0)
