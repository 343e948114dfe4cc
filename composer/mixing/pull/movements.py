"""How each candidate moves the point, the rest of the face, and the seams, as the matrices of a small quadratic.

With u_i (m, 3) the displacement of candidate i for one unit of weight (share times slope of its shape),

    J_i = u_i at the point
    M_ij = sum over vertices of A k u_i.u_j / A0,          k = clip((d - 5) / 25, 0, 1)^2 (1 + d / 60)
    S_ij = sum over edges of A (L0 / l)^2 (dg_i D_i).(dg_j D_j) / A0

with A the area of a vertex or an edge, d its distance from the point in mm, l an edge's length, dg the difference of
the share along an edge and D the mean of the shape on it. M is what moves elsewhere; S is the strain that shares add to
the shapes' own: it vanishes where neighbours carry the same shape.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.mixing.linear import Mixer
from composer.mixing.pull.candidates import Candidates, Held, slope
from composer.mixing.pull.skin import Patch, PullSkin
from composer.mixing.recipe import CellKey

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
MOST = 60
"""Most candidates that are solved for: those that move the point most for what they move and strain elsewhere. A design
choice, no source."""
MOST_PLACES = 8000
"""Vertices, and edges, from which M and S are summed; of larger faces every second, third, ... is taken. It limits the
time of a press. A design choice, no source."""
A0, L0 = 1256.0, 10.0
"""The units of M and S: the area of a disc of 20 mm in mm^2, and a length in mm. Design choices, no source."""
NEAR_MM, FADE_MM, FURTHER_MM = 5.0, 25.0, 60.0
"""Within the first distance of the point movement is free, over the second it comes to cost, and the cost doubles with
each of the third, mm. Design choices, no source."""
ELSEWHERE, SEAM = 0.02, 0.15
"""The weights of M and S against the square of what is left of the pull, no unit. Chosen on two libraries: larger ones
leave the point short, smaller ones let the rest come along."""


@dataclass(frozen=True, eq=False)
class Movements:
    """The candidates that are solved for: `keys`, the first `own` in the recipe, weights `start` (k,); `u` (k, m, 3)
    mm at the vertices of `patch`, `at_point` (3, k) mm, `elsewhere` (k, k) and `seam` (k, k)."""

    keys: tuple[CellKey, ...]
    own: int
    start: Floats
    patch: Patch
    u: Singles
    at_point: Floats
    elsewhere: Floats
    seam: Floats
    far: dict[int, Singles] = dataclasses.field(default_factory=dict, repr=False)

    def at_most(self, change: Floats, on: NDArray[np.intp]) -> Singles:
        """(m,) mm that no vertex of the patch moves beyond where the weights of the candidates `on` change by theirs of
        `change` (k,), each in a straight line: the sum of how far each moves it alone."""
        total = np.zeros(self.u.shape[1], dtype=np.float32)
        for i in on.tolist():
            total += np.float32(abs(change[i])) * self._far(i)
        return total

    def moved(self, change: Floats, on: NDArray[np.intp], at: NDArray[np.intp]) -> Singles:
        """(p, 3) mm, how the vertices `at` (p,) of the patch move where the weights of the candidates `on` change by
        theirs of `change` (k,), each in a straight line."""
        total = np.zeros((len(at), 3), dtype=np.float32)
        for i in on.tolist():
            total += np.float32(change[i]) * np.take(self.u[i], at, axis=0)
        return total

    def _far(self, i: int) -> Singles:
        """(m,) mm, how far one unit of weight of a candidate moves each vertex of the patch."""
        if i not in self.far:
            self.far[i] = np.sqrt(np.einsum("ij,ij->i", self.u[i], self.u[i]))
        return self.far[i]


def movements(
    mixer: Mixer, skin: PullSkin, shares: Mapping[str, NDArray], strength: float, given: Candidates, point: Held
) -> Movements:
    """The movements of the candidates on the vertices that they reach. `shares` (n,) are the recipe's, those of new
    regions with them; `strength` is the recipe's."""
    fields = {(key[1:], at): slope(mixer, key, at) for key, at in zip(given.keys, given.start, strict=True)}
    of = [(key[1:], at) for key, at in zip(given.keys, given.start, strict=True)]
    regions = list(dict.fromkeys(key[0] for key in given.keys))
    place = point.of(mixer.head.neutral)
    places = {region: mixer.standing.weights(point.corners, point.bary, shares[region]) for region in regions}
    jacobian = strength * np.array(
        [_moved(fields[f], *places[key[0]]) for key, f in zip(given.keys, of, strict=True)]
    ).reshape(-1, 3)
    size = np.linalg.norm(jacobian, axis=1)
    useful = np.flatnonzero((size > 1e-3) | (np.arange(len(size)) < given.own))
    if len(useful) > MOST:
        used = {of[i] for i in useful}
        moves = np.logical_or.reduce([_reached(skin, f, fields[f]) for f in used])
        patch = skin.patch(moves & skin.skin)
        cost = _alone(patch, {f: fields[f] for f in used}, shares, regions, place, strength)
        worth = np.array([size[i] ** 4 / (size[i] ** 2 + cost[given.keys[i][0], of[i]] + 1e-9) for i in useful])
        worth[useful < given.own] = np.inf
        useful = np.sort(useful[np.argsort(-worth, kind="stable")[: max(MOST, given.own)]])
    keys = tuple(given.keys[i] for i in useful)
    moves = np.zeros(mixer.head.n_vertices, dtype=bool)
    for i in useful:
        moves |= _reached(skin, of[i], fields[of[i]]) & (shares[given.keys[i][0]] > 0.0)
    standing = mixer.standing
    moves[standing.vertices] |= moves[standing.corners].any(axis=1)
    moves[point.corners] = True
    patch = skin.patch(moves)
    u = _displacements(patch, [fields[of[i]] for i in useful], [shares[key[0]] for key in keys], strength)
    if len(mixer.standing):
        for row, i, key in zip(u, useful, keys, strict=True):
            row[:] = strength * mixer.standing.masked_at(patch.vertices, fields[of[i]], shares[key[0]])
    start = np.array([given.start[i] for i in useful])
    seam = _seam(patch, [fields[of[i]] for i in useful], [shares[key[0]] for key in keys], strength)
    own = int((useful < given.own).sum())
    return Movements(keys, own, start, patch, u, jacobian[useful].T, _elsewhere(patch, u, place), seam)


def _moved(field: NDArray, vertices: NDArray, parts: Floats) -> Floats:
    """(3,) mm, the sum of `parts` (k,) of a field (n, 3) at `vertices` (k,)."""
    return np.asarray(parts @ np.asarray(field[vertices], dtype=np.float64))


def _reached(skin: PullSkin, of: tuple, field: NDArray) -> NDArray[np.bool_]:
    """(n,) where a field of a shape from a weight on is not zero."""
    (shape, mirrored), weight = of
    return skin.moved_by(f"{shape}\n{mirrored}\n{weight}", field)


def _displacements(patch: Patch, fields: list[NDArray], shares: list[NDArray], strength: float) -> Singles:
    """(k, m, 3) mm, share times field at the vertices of the patch; each array is gathered once."""
    at = patch.vertices
    gathered: dict[int, NDArray] = {}
    for each in (*fields, *shares):
        if id(each) not in gathered:
            gathered[id(each)] = np.take(each, at, axis=0).astype(np.float32)
    u = np.empty((len(fields), len(at), 3), dtype=np.float32)
    for row, field, share in zip(u, fields, shares, strict=True):
        np.multiply(gathered[id(field)], np.float32(strength) * gathered[id(share)][:, None], out=row)
    return u


def keep_still(places: Floats, point: Floats) -> Floats:
    """(m,) the cost k of movement at places (m, 3) mm, by their distance from the point (3,) mm."""
    away = np.linalg.norm(places - point, axis=1)
    return np.clip((away - NEAR_MM) / FADE_MM, 0.0, 1.0) ** 2 * (1.0 + away / FURTHER_MM)


def _some(count: int) -> slice:
    """Every place, or so many that at most MOST_PLACES are left."""
    return slice(None, None, max(1, -(-count // MOST_PLACES)))


def _elsewhere(patch: Patch, u: Singles, place: Floats) -> Floats:
    some = _some(len(patch.vertices))
    cost = patch.area[some] * keep_still(patch.positions[some], place) * (some.step or 1)
    flat = (u[:, some] * np.sqrt(cost).astype(np.float32)[:, None]).reshape(len(u), 3 * len(cost))
    return np.asarray(flat @ flat.T, dtype=np.float64) / A0


def _seam(patch: Patch, fields: list[NDArray], shares: list[NDArray], strength: float) -> Floats:
    some = _some(len(patch.edges))
    ends = patch.vertices[patch.edges[some]]
    root = np.sqrt(patch.edge_area[some] * (some.step or 1)) / patch.length[some] * L0 * strength
    flat = np.zeros((len(fields), 3 * len(ends)), dtype=np.float32)
    for row, field, share in zip(flat, fields, shares, strict=True):
        gap = (share[ends[:, 1]] - share[ends[:, 0]]) * root
        on = np.flatnonzero(gap)
        row.reshape(-1, 3)[on] = (0.5 * gap[on])[:, None] * (field[ends[on, 0]] + field[ends[on, 1]])
    return np.asarray(flat @ flat.T, dtype=np.float64) / A0


def _alone(
    patch: Patch, fields: Mapping, shares: Mapping[str, NDArray], regions: list[str], place: Floats, strength: float
) -> dict[tuple[str, object], float]:
    """The cost of each region with each field by itself: the diagonals of M and S, weighted."""
    places, pairs = _some(len(patch.vertices)), _some(len(patch.edges))
    at, ends = patch.vertices[places], patch.vertices[patch.edges[pairs]]
    positions = patch.positions[places]
    cost = patch.area[places] * keep_still(positions, place) * (places.step or 1)
    root = patch.edge_area[pairs] * (L0 / patch.length[pairs]) ** 2 * (pairs.step or 1)
    over = np.stack([shares[r][at] ** 2 * cost for r in regions])
    gaps = np.stack([(shares[r][ends[:, 1]] - shares[r][ends[:, 0]]) ** 2 * root for r in regions])
    names = list(fields)
    far = np.stack([np.einsum("ij,ij->i", d := fields[f][at], d) for f in names], axis=1)
    mean = np.stack(
        [0.25 * np.einsum("ij,ij->i", d := fields[f][ends[:, 0]] + fields[f][ends[:, 1]], d) for f in names], axis=1
    )
    total = (ELSEWHERE * (over @ far) + SEAM * (gaps @ mean)) * strength**2 / A0
    return {(r, f): float(total[i, j]) for i, r in enumerate(regions) for j, f in enumerate(names)}
