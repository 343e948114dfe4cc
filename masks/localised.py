"""Sparse localised components of how much places move: a few fields that add up, each of them in one place.

Neumann et al. 2013, "Sparse localized deformation components", take displacements apart into components whose
support is kept small and near a centre by a sparsity that grows with the distance from it. Here it is the *amount*
of motion that is taken apart, which is never negative, so the components are those of Lee and Seung 1999, "Learning
the parts of objects by non-negative matrix factorization", by their multiplicative updates, with Neumann's local
sparsity in the denominator (Hoyer 2002, "Non-negative sparse coding"). Two lids that close against each other are
then one component, and nothing depends on which way a shape moves or is turned. Centres come one by one, each where
most is left unexplained; nothing is drawn at random.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import dijkstra

from composer.geometry.surface import Floats

ROUNDS = 80
SPARSITY = 0.1
"""The toll on a place beyond a component's reach, where amounts of motion are at most 1."""
ENOUGH = 1e-3
"""Centres are sought no more where less than this share of what there is is left unexplained."""
TIE = 1e-7
"""Places whose amounts differ by less than this share are one as strong as the other."""


@dataclass(frozen=True, eq=False)
class Components:
    """`profiles` (f, k), unit columns: how much each component goes along with each feature; `fields` (k, m): how
    strong it is at each place; `centres` (k,) the places they were begun from, strongest first.
    """

    profiles: Floats
    fields: Floats
    centres: tuple[int, ...]


def localised_components(
    features: Floats, mass: Floats, positions: Floats, graph: sp.csr_matrix, count: int, reach_mm: float
) -> Components:
    """At most `count` components of `features` (f, m) >= 0, amounts of motion at m places.

    `mass` (m,) is the area of each place; `graph` (m, m) lengths in mm between neighbours: a component is
    free within half of `reach_mm` of its centre, pays in full beyond one and a half. `positions` (m, 3) settle ties.
    """
    left = features.copy()
    whole = float(np.einsum("ij,ij,j->", left, left, mass))
    centres: list[int] = []
    profiles, far = [], []
    while len(centres) < count:
        square = np.einsum("ij,ij->j", left, left)
        if float(square @ mass) <= ENOUGH * whole:
            break
        centre = strongest_place(square, positions)
        distance = dijkstra(graph, indices=centre, limit=1.5 * reach_mm)
        profile = left[:, centre] / np.sqrt(square[centre])
        along = profile @ left
        left -= np.outer(profile, along * np.clip(2.0 - 2.0 * distance / reach_mm, 0.0, 1.0))
        np.maximum(left, 0.0, out=left)
        centres.append(centre)
        profiles.append(profile)
        far.append(distance)
    along = np.array(profiles).T + 1e-4
    fields = np.maximum(along.T @ features, 1e-6)
    toll = SPARSITY * np.clip(np.array(far) / reach_mm - 0.5, 0.0, 1.0)
    weighed = features * mass
    for _ in range(ROUNDS):
        fields *= (along.T @ features) / ((along.T @ along) @ fields + toll + 1e-12)
        along *= (weighed @ fields.T) / (along @ ((fields * mass) @ fields.T) + 1e-12)
        length = np.maximum(np.linalg.norm(along, axis=0), 1e-12)
        along /= length
        fields *= length[:, None]
    return Components(along, fields, tuple(centres))


def strongest_place(strength: Floats, positions: Floats) -> int:
    """Where `strength` (m,) is greatest; of places that tie, the first by `positions` (m, 3), however numbered."""
    tied = np.flatnonzero(strength >= (1.0 - TIE) * float(strength.max()))
    if len(tied) == 1:
        return int(tied[0])
    return int(tied[np.lexsort(positions[tied].T[::-1])[0]])
