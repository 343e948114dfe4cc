"""What a sculpt wears: a cap, a collar, a wig. Skin that a step parts from the face all the way round, and that stands
out beyond it, keeps the library's form, and the artist is asked.

Beside a step the skin lies lower than its surroundings, and on the library it does not: there its hollowness, how far
the mean of what lies about a vertex stands out of it, has grown. Where such vertices part skin from the eyes, the nose
and the lips, the skin beyond them is given the library's form from the step on. It is a cover where it stands out of
that form along the step. A large or an odd skull has no step around it and is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.fitting.hollows.cavities import connected
from composer.fitting.hollows.hollowness import ABOUT, hollowness
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.hollows.places import PLACES
from composer.fitting.library_form import formed
from composer.geometry.surface import Surface

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEP = 0.05
"""How much hollower than on the library skin is beside a step (`hollowness`, our choice: a step of some 3 mm)."""
FACE = ("nose", "eyes", "lips")
"""The places that nothing covers: what they belong to is the face."""
GAPS = (0, 1, 2)
"""Rings by which the vertices beside steps are widened, so that a step is whole; the first that parts a cover from the
face is taken (our choice)."""
LEAST = 0.03
"""Least share of the skin's area for a cover: a quarter of a scalp (our choice)."""
STANDS = 0.0075
"""How far it stands out beside the step, as a share of the diagonal, in the median: some 3.5 mm (our choice)."""
OPEN = 0.018
"""The same for a cover that ends where the skin does, as a collar: some 8 mm. On one of twelve people of a library the
neck alone stands out by 7.4 mm."""
HALF, MOSTLY = 0.5, 0.75
"""At which share of its vertices there it stands out by half of that, and at which share of its edge there is a step at
all (our choice)."""
STEEP = 0.55
"""Least share of how far it stands out further inside by which it does so beside the step: a skull that is larger than
the library's stands out more and more (our choice: .7 and more for caps on made heads, .2 for a skull)."""
BESIDE = (1.6, 3.0, 4.4)
"""From where on the skin counts as beside the step, from where on and up to where as further inside: distances from the
edge of what is hollow on its lower side, in widths ABOUT (our choice)."""


@dataclass(frozen=True, eq=False)
class Cover:
    """Flags (s,) of the skin that is covered, and by how many mm it stands out beside its step, the median."""

    flags: Flags
    stands_mm: float


def covers(library: LibrarySkin, positions: Rows, seen: Flags, places: NDArray[np.int64]) -> list[Cover]:
    """The covers of the skin at `positions` (s, 3) mm. `seen` (s,) flags what the sculpt can show, `places` (s,) is as
    `face_places` has it."""
    surface, tables = library.surface.at(positions), library.uncrossing
    face = np.isin(places, [PLACES.index(name) for name in FACE])
    hollower = hollowness(surface) - library.hollowness
    step = (hollower > STEP) & ~face & seen
    least = LEAST * float(library.surface.mass.sum())
    found: list[Cover] = []
    for rings in GAPS:
        open_ = connected(tables.polygons, ~tables.loops.grown(step, rings) | face)
        bare = np.logical_or.reduce([face, *(piece for piece in open_ if (piece & face).any())])
        for piece in connected(tables.polygons, ~tables.loops.grown(bare, rings)):
            taken = any((cover.flags & piece).any() for cover in found)
            if taken or float(library.surface.mass[piece].sum()) < least:
                continue
            stands = _stands_out(library, surface, piece, hollower)
            if stands is not None:
                found.append(Cover(piece, stands))
    return found


def _stands_out(library: LibrarySkin, surface: Surface, piece: Flags, hollower: Rows) -> float | None:
    """By how many mm a `piece` (s,) with its step stands out of the library's form beside the step, the median; None
    where it does not. `hollower` (s,) is by how much each vertex is hollower than on the library."""
    tables, at, width = library.uncrossing, surface.positions, ABOUT * surface.diagonal_mm
    form = formed(tables.polygons, at, tables.rest, piece)
    if form is None:
        return None
    edge = tables.loops.grown(~piece, 1) & piece
    about = cKDTree(at[piece]).query_ball_point(at[edge], BESIDE[0] * width)
    if np.mean([hollower[piece][near].max(initial=0.0) > STEP for near in about]) < MOSTLY:
        return None
    away = cKDTree(at[edge]).query(at)[0] / width
    out = np.einsum("ij,ij->i", at - form, surface.vertex_normals)
    near, further = (out[piece & (away > low) & (away <= high)] for low, high in pairwise(BESIDE))
    if not len(near) or not len(further):
        return None
    stands = float(np.median(near))
    if (near > HALF * stands).mean() < MOSTLY:
        return None
    steep = stands > STEEP * float(np.median(further))
    least = (OPEN if (piece & surface.polygons.border_vertices).any() else STANDS) * surface.diagonal_mm
    return stands if steep and stands > least else None
