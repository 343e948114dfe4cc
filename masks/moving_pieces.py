"""Places parted into pieces that move alike: sparse localised components, joined by Ward until they are few enough.

Profiles are taken apart into sparse localised components (`masks.localised`); every place goes to its strongest, and
pieces that touch and move alike are joined (Ward 1963, "Hierarchical grouping to optimize an objective function").
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats
from masks.crumbs import crumbs_by_border, crumbs_by_likeness
from masks.localised import localised_components
from masks.moving_places import MovingPlaces

FINEST = 32
"""Components sought, both sides counted, however few regions are asked for: pieces that move alike are joined."""
REACH = 2.3
"""How far a component reaches, in mean widths of the components."""
ALIKE = 0.02
"""Touching pieces whose profiles differ by less than this (one less the cosine) are one region."""
CENTRAL = 0.28
"""A region and its mirror image are one where they lie no further from the midline, in the mean, than this share of
the width of both; a square across the midline has 1/4.
"""


@dataclass(frozen=True, eq=False)
class MovingPiece:
    """A region in the making: `places` (m,) bool, and summed over them by area the features (f,), the area itself in
    mm^2 and the distance from the midline. `pair`: its mirror image is a region of its own.
    """

    places: NDArray[np.bool_]
    summed: Floats
    area: float
    aside: float
    pair: bool

    @classmethod
    def of(cls, moving: MovingPlaces, places: NDArray[np.bool_]) -> MovingPiece:
        """The piece of these places (m,)."""
        mass = moving.mass[places]
        area, aside = float(mass.sum()), float(moving.aside[places] @ mass)
        pair = moving.partner is not None and not _central(area, aside)
        return cls(places, moving.features[:, places] @ mass, area, aside, pair)

    def joined(self, other: MovingPiece) -> MovingPiece:
        """Both as one."""
        area, aside = self.area + other.area, self.aside + other.aside
        pair = (self.pair or other.pair) and not _central(area, aside)
        return MovingPiece(self.places | other.places, self.summed + other.summed, area, aside, pair)

    @property
    def regions(self) -> int:
        """How many regions it will be."""
        return 2 if self.pair else 1


def _central(area: float, aside: float) -> bool:
    return aside <= CENTRAL * area * float(np.sqrt(2.0 * area))


def moving_pieces(moving: MovingPlaces, n_regions: int, least_mm2: float) -> list[MovingPiece]:
    """The pieces that make at most `n_regions` regions, strongest first; no connected part of one is smaller than
    `least_mm2` where it touches another.
    """
    folded = moving.partner is not None
    count = max(FINEST, n_regions) // (2 if folded else 1)
    reach = REACH * float(np.sqrt(moving.mass.sum() / count))
    found = localised_components(moving.features, moving.mass, moving.positions, moving.graph, count, reach)
    pieces = _of_labels(moving, crumbs_by_likeness(moving, np.argmax(found.fields, axis=0)))
    while len(pieces) > 1:
        unlike, a, b = _cheapest(moving, pieces)
        if sum(piece.regions for piece in pieces) <= n_regions and unlike > ALIKE:
            break
        pieces[a] = pieces[a].joined(pieces[b])
        del pieces[b]
    whole = crumbs_by_border(moving, _labels(moving, pieces), least_mm2)
    pieces = _of_labels(moving, np.unique(whole, return_inverse=True)[1].reshape(-1))
    if sum(piece.regions for piece in pieces) > n_regions:
        pieces = [replace(piece, pair=False) for piece in pieces]
    loud = moving.loudest**2 * moving.mass
    strength = np.array([float(loud[piece.places].sum()) * piece.regions for piece in pieces])
    return [pieces[i] for i in np.argsort(-strength, kind="stable")]


def _labels(moving: MovingPlaces, pieces: list[MovingPiece]) -> NDArray[np.int64]:
    """(m,) the number of the piece of each place."""
    label = np.zeros(len(moving.mass), dtype=np.int64)
    for number, piece in enumerate(pieces):
        label[piece.places] = number
    return label


def _of_labels(moving: MovingPlaces, labels: NDArray[np.int64]) -> list[MovingPiece]:
    return [MovingPiece.of(moving, labels == label) for label in range(labels.max() + 1)]


def _cheapest(moving: MovingPlaces, pieces: list[MovingPiece]) -> tuple[float, int, int]:
    """The two pieces that are best joined, touching ones first: how unlike they are (1 where apart), and which two.

    What it costs is Ward's increase of the spread, widths in the place of areas, for every region that it saves.
    """
    label = _labels(moving, pieces)
    graph = moving.graph.tocoo()
    meet = set(np.unique(label[graph.row] * len(pieces) + label[graph.col]).tolist())
    best = (2, np.inf, 1.0, 0, 1)
    for b, two in enumerate(pieces):
        for a, one in enumerate(pieces[:b]):
            apart = one.summed / one.area - two.summed / two.area
            width = 1.0 / (1.0 / np.sqrt(one.area) + 1.0 / np.sqrt(two.area))
            saved = one.regions + two.regions - one.joined(two).regions
            lengths = float(np.linalg.norm(one.summed) * np.linalg.norm(two.summed))
            unlike = 1.0 - float(one.summed @ two.summed) / max(lengths, 1e-12)
            apart_in_space = a * len(pieces) + b not in meet
            cost = width * float(apart @ apart) / min(max(saved, 0.5), 2)
            best = min(best, (int(apart_in_space), cost, 1.0 if apart_in_space else unlike, a, b))
    return best[2:]
