"""What a sculpt wears: a cap, a collar, a wig. Skin that a step parts from the face all the way round, and that stands
out beyond it, keeps the library's form, and the artist is asked.

Beside a step the skin lies lower than its surroundings, and on the library it does not: there its hollowness, how far
the mean of what lies about a vertex stands out of it, has grown. Where such vertices part skin from the eyes, the nose
and the lips, the skin beyond them is given the library's form from the step on. It is a cover where it stands out of
that form along the step. A large or an odd skull has no step around it and is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.hollows.cavities import connected
from composer.fitting.hollows.hollowness import hollowness
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
STANDS, MOSTLY = 0.006, 0.75
"""How far it stands out, as a share of the diagonal, some 2.5 mm, in the median, and at which share of its vertices
beside the step at all (our choice)."""
WIDER = 2
"""Rings by which a cover is wider than what lies beyond its step, so that the step is in it (our choice)."""
BESIDE = 5
"""Rings within a cover that count as beside its step (our choice)."""


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
    step = (hollowness(surface) - library.hollowness > STEP) & ~face & seen
    least = LEAST * float(library.surface.mass.sum())
    found: list[Cover] = []
    for rings in GAPS:
        band = tables.loops.grown(step, rings) & ~face
        for piece in connected(tables.polygons, ~band):
            if (piece & face).any() or float(library.surface.mass[piece].sum()) < least:
                continue
            whole = tables.loops.grown(piece, rings + WIDER) & ~face
            stands = _stands_out(library, surface, piece, whole)
            taken = any((cover.flags & whole).any() for cover in found)
            if stands is not None and not taken:
                found.append(Cover(whole, stands))
    return found


def without_covers(library: LibrarySkin, positions: Rows, found: list[Cover], can: Flags) -> tuple[Rows, Flags]:
    """(s, 3) the skin's `positions` (s, 3) mm with the library's form under the covers, and which vertices (s,) moved,
    of those flagged in `can` (s,)."""
    under = np.logical_or.reduce([np.zeros(len(positions), dtype=bool), *(one.flags for one in found)]) & can
    form = formed(library.skin.polygons, positions, library.surface.positions, under)
    return (positions, np.zeros_like(under)) if form is None else (np.where(under[:, None], form, positions), under)


def _stands_out(library: LibrarySkin, surface: Surface, piece: Flags, whole: Flags) -> float | None:
    """By how many mm a `piece` (s,) stands out of the library's form beside its step, the median, None where it does
    not; with its step it is `whole` (s,)."""
    tables = library.uncrossing
    form = formed(tables.polygons, surface.positions, tables.rest, whole)
    if form is None:
        return None
    beside = piece & tables.loops.grown(~whole, BESIDE)
    out = np.einsum("ij,ij->i", surface.positions - form, surface.vertex_normals)[beside]
    if not len(out) or (out > 0.0).mean() < MOSTLY:
        return None
    stands = float(np.median(out))
    return stands if stands > STANDS * surface.diagonal_mm else None
