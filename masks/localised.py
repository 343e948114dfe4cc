"""Sparse localised components of amounts of motion: a few fields that sum to them, each in one place.

Neumann et al. 2013, "Sparse localized deformation components", decompose displacements into components. A sparsity that
grows with the distance from a centre keeps their support small. Here the *amount* of motion is decomposed, which is
never negative, so the components are those of Lee and Seung 1999, "Learning
the parts of objects by non-negative matrix factorization", by their multiplicative updates, with Neumann's local
sparsity in the denominator (Hoyer 2002, "Non-negative sparse coding"). Two lids that close against each other are
then one component, and nothing depends on the direction of motion or the orientation. Centres are added one by one,
each where the unexplained rest is largest; nothing is random.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import dijkstra

from composer.geometry.surface import Floats

ROUNDS = 80
"""Rounds of multiplicative updates. A design choice, no source."""
SPARSITY = 0.1
"""The penalty on a place beyond a component's reach, for amounts of motion of at most 1. A design choice, no source."""
ENOUGH = 1e-3
"""No further centre is added once less than this fraction of the squared motion is unexplained. A design choice, no
source.
"""
TIE = 1e-7
"""Places whose amounts differ by less than this fraction count as equal: rounding."""


@dataclass(frozen=True, eq=False)
class Components:
    """`profiles` (f, k) with unit columns: the strength of each component in each feature; `fields` (k, m): its
    strength at each place; `centres` (k,) the places from which they were started, strongest first.
    """

    profiles: Floats
    fields: Floats
    centres: tuple[int, ...]


def localised_components(
    features: Floats, mass: Floats, positions: Floats, graph: sp.csr_matrix, count: int, reach_mm: float
) -> Components:
    """At most `count` components of `features` (f, m) >= 0, amounts of motion at m places.

    `mass` (m,) is the area of each place in mm^2; `graph` (m, m) holds lengths in mm between neighbours. The penalty
    is 0 within half of `reach_mm` of a component's centre and full beyond one and a half. `positions` (m, 3) break
    ties.
    """
    unexplained = features.copy()
    total = float(np.einsum("ij,ij,j->", unexplained, unexplained, mass))
    centres: list[int] = []
    profiles, far = [], []
    while len(centres) < count:
        square = np.einsum("ij,ij->j", unexplained, unexplained)
        if float(square @ mass) <= ENOUGH * total:
            break
        centre = strongest_place(square, positions)
        distance = dijkstra(graph, indices=centre, limit=1.5 * reach_mm)
        profile = unexplained[:, centre] / np.sqrt(square[centre])
        along = profile @ unexplained
        unexplained -= np.outer(profile, along * np.clip(2.0 - 2.0 * distance / reach_mm, 0.0, 1.0))
        np.maximum(unexplained, 0.0, out=unexplained)
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
    """The place of the greatest `strength` (m,); of equal places the first by `positions` (m, 3), for any numbering."""
    tied = np.flatnonzero(strength >= (1.0 - TIE) * float(strength.max()))
    if len(tied) == 1:
        return int(tied[0])
    return int(tied[np.lexsort(positions[tied].T[::-1])[0]])
