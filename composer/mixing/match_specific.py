"""Of cells that a take cannot tell apart: the one whose shape moves least elsewhere on the face.

A shape made of others (a grin of both corners of the mouth) is nearly the same field in a small region as one of its
parts. Where either serves, and what they leave differs by no more than noise makes it differ, the evidence says
nothing; then the simpler account is the shape that is about this region: of whose whole movement the largest share lies
in it. That is a choice between equals, no evidence (our choice, no source). The rest are exchanges of one variable for
another (Miller 2002, "Subset Selection in Regression", sequential replacement).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.match import Bounds, Columns
from composer.mixing.match_bounded import Floats
from composer.mixing.match_cells import LEAST_EVIDENCE, TakeCells, TakeSums, cells_alone

SAME_FIELD = 0.99
"""Cells are nearly the same field from this cosine of their columns on (our choice)."""
CLEARLY_MORE = 1.1
"""A shape is more about a region where its share there is so many times that of the other (our choice)."""


@dataclass(frozen=True, eq=False)
class Shares:
    """Of each column: the number of its `region` (K,), the `share` (K,) of its shape's squared movement, from 0 to 1,
    that the cell makes, and its `bend` (K,), the place of the column of the bend of its shape, -1 for none. `bends`
    (K,) is, for the column of a bend, the place of its shape's own; -1 for others."""

    region: NDArray[np.intp]
    share: Floats
    bend: NDArray[np.intp]
    bends: NDArray[np.intp]

    @classmethod
    def of(cls, columns: Columns, bends: dict[str, str]) -> Shares:
        """Those of `columns`; `bends` are the names of shapes by those of their bends."""
        deltas = (columns.mixer.head.shape(name).delta for name in columns.shapes)
        whole = np.array([max(float(np.square(delta, dtype=np.float64).sum()), 1e-300) for delta in deltas])
        regions = len(columns.keys) // max(len(columns.shapes), 1)
        places = {name: place for place, name in enumerate(columns.shapes)}
        bend, owner = np.full(len(places), -1), np.full(len(places), -1)
        for other, name in bends.items():
            bend[places[name]], owner[places[other]] = places[other], places[name]
        start = len(places) * np.arange(regions)[:, None]
        return cls(
            np.repeat(np.arange(regions), len(places)), np.square(columns.lengths) / np.tile(whole, regions),
            np.where(bend < 0, -1, start + bend).ravel(), np.where(owner < 0, -1, start + owner).ravel(),
        )  # fmt: skip


def most_specific(
    sums: TakeSums, found: TakeCells, candidates: NDArray[np.intp], shares: Shares, bounds: Bounds
) -> TakeCells:  # fmt: skip
    """The cells of a take, each the most specific of those `candidates` of its region that serve as well."""
    if not bounds.sparse:
        return found
    for place in sorted(found.at, key=lambda at: (float(shares.share[at]), int(at))):
        if shares.bends[place] < 0 or shares.bends[place] not in found.at:
            found = _exchanged(sums, found, int(place), candidates, shares, bounds)
    return found


def _exchanged(
    sums: TakeSums, found: TakeCells, place: int, candidates: NDArray[np.intp], shares: Shares, bounds: Bounds
) -> TakeCells:  # fmt: skip
    """The cells with the one at `place` exchanged for the most specific that serves as well, or as they are."""
    gram = sums.gram
    own = candidates[(shares.region[candidates] == shares.region[place]) & (shares.bends[candidates] < 0)]
    alike = np.abs(gram[place, own]) >= SAME_FIELD * np.sqrt(gram[place, place] * gram[own, own])
    others = own[alike & (shares.share[own] > CLEARLY_MORE * shares.share[place]) & ~np.isin(own, found.at)]
    rest = found.at[(found.at != place) & (shares.bends[found.at] != place)]
    most = found.left + LEAST_EVIDENCE * sums.variance
    noise = len(sums.onto) * sums.variance * (1.0 if bounds.low < 0.0 < bounds.high else 0.5)
    for other in others[np.argsort(-shares.share[others], kind="stable")]:
        tried = cells_alone(sums, np.append(rest, other), bounds)
        if tried.left <= most:
            return tried
        bend = shares.bend[other]
        if bend in candidates and bend not in rest:  # a shape that does not go straight, with what noise gives the bend
            tried = cells_alone(sums, np.concatenate([rest, [other, bend]]), bounds)
            if tried.left + noise <= most:
                return tried
    return found
