"""The sculpt's own form beside an opening that it has sealed.

A closed band of lips or lids has the library's form. Its outer side lies on the sculpt all the same: only what hides in
the seam has no place there. So the open vertices of the band go to the sculpt, and the hidden ones follow them in the
library's form, which keeps the library's own gap between both sides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.fitting.closest import ClosestSurface
from composer.fitting.hollows.library import LibrarySkin
from composer.fitting.reference_shape import shaped

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

OPEN = 0.45
"""Visibility on the library from which on a vertex lies on the outer side of a lip or a lid (our choice)."""
REACH = 0.012
"""Furthest that a vertex goes to the sculpt, as a share of the head's diagonal: some 5 mm (our choice)."""
AGREE = 0.5
"""Cosine between the normals of a vertex and of its place on the sculpt above which it goes there: 60 degrees (our
choice)."""
MARGIN = 0.012
"""Distance from the line of contact, as a share of the diagonal, within which vertices follow the sculpt less and less:
some 5 mm (our choice), so that the rims of lips and lids keep the library's gap."""
HOLD = 0.5
"""How firmly a vertex is held to its place on the sculpt; the library's form has weight 1 (our choice)."""
ON_LINE = 5.0
"""The same for the line of contact, which is held where the closed band has it (our choice: with .5 the gap of made
lips changed by 1.1 mm)."""
LOOSE, ROUNDS = 1e-6, 8
"""The same for the hidden vertices, and the rounds in which the band takes its form (our choice)."""


def beside_seam(
    library: LibrarySkin, positions: Rows, zone: Flags, line: NDArray[np.int64], across: NDArray[np.int64],
    sculpt: ClosestSurface,
) -> Rows:  # fmt: skip
    """(s, 3) the skin's `positions` (s, 3) mm with the outer side of a closed band on the sculpt.

    `zone` (s,) flags the band and what hides behind it, `line` (l,) are the skin's vertices along the opening and
    `across` (a, 2) those that stand against each other there: they keep the library's gap. Both are numbers of the
    skin, -1 for what is none of it.
    """
    line, across = line[line >= 0], across[(across >= 0).all(axis=1)]
    if not len(line):
        return positions
    surface = library.surface.at(positions)
    off = cKDTree(library.surface.positions[line]).query(library.surface.positions)[0]
    share = np.clip(off / (MARGIN * library.surface.diagonal_mm), 0.0, 1.0) ** 2
    wanted = np.flatnonzero(zone & (library.cavities.visibility >= OPEN) & (share > 0.0))
    found = sculpt.closest(positions[wanted])
    fits = (found.normal * surface.vertex_normals[wanted]).sum(axis=1) > AGREE
    fits &= (found.distance <= REACH * surface.diagonal_mm) & ~found.on_border
    placed, firm = np.array(positions), np.maximum(ON_LINE * (1.0 - share), LOOSE)
    placed[wanted[fits]] = found.points[fits]
    firm[wanted[fits]] = np.maximum(HOLD * share[wanted[fits]], LOOSE)
    moving = np.flatnonzero(zone)
    tables = library.uncrossing
    formed = shaped(tables.polygons, placed, tables.loops, tables.rest, moving, firm[moving], ROUNDS, True, across)
    if tables.loops.bad_about(formed, zone) > tables.loops.bad_about(positions, zone):
        return positions
    return formed
