"""The seamless join: where regions meet, it blends the gradients of displacements instead of the displacements.

A mask that mixes two displacements adds strain: their difference divided by the width of the ramp. A blend of their
gradients leaves this term out, and the displacement u is integrated from it (after Yu et al. 2004 and Sorkine et al.
2004). On the ramps and a halo beside them, with g the rows' shares and R their displacements, u minimises

    sum A |grad u - sum g grad R|^2 + BETA L^2 sum A |lap u - sum g lap R|^2 + sum A lambda |u - u_linear|^2

with L the width of ramp and halo together. lambda is small in the middle and rises smoothly to the edge, so that the
join does not crease there and moves nothing outside. The g that blend gradients are the shares widened over the halo by
the same system, so that they also fall off as slowly as the zone allows. The unknown is the difference to the linear
join: outside the zone, and wherever rows agree, nothing changes.

u is linear in the rows. The matrix depends on masks and halo alone and is factored once; new weights cost a back
substitution.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.surface import factorise
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, HALO, Recipe
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import Ramp, Zone, ramp_of, zone_of

Floats = NDArray[np.float64]

BETA = 0.05
"""The weight of bending against stretching, no unit. A design choice, no source."""
STIFF = 30.0
"""How steeply lambda L^2 rises towards the edge of the zone, no unit. A design choice, no source."""
FLOOR = 10.0
"""lambda L^2 in the middle of the zone, no unit. At 0 a region no wider than its ramps would lose its expression, as
nothing in it is held. Chosen on the demo head: at 10 its regions keep nine tenths of their movement, and most of the
strain is gone.
"""


@dataclass(frozen=True, eq=False)
class _Blend:
    """Of one row: its `share` (m,) at `near`, and the blend weights of gradients on `edges` (E',) and of Laplacians,
    `plates` (k,)."""

    share: Floats
    edges: Floats
    plates: Floats


class SeamlessJoin:
    """The join for one set of masks: prepared once, then solved for any rows.

    It reads shares and rows at the vertices `near` (m,) and moves the vertices `zone.free` (f,).
    """

    def __init__(
        self, skin: SeamlessSurface, masks: Mapping[str, NDArray], *, halo: float = HALO,
        ramps: Mapping[str, Ramp] | None = None,
    ) -> None:  # fmt: skip
        """Take effective `masks` (n,) by region, and the halo's width as a fraction (0 to 1) of the ramp's.

        `ramps` may hold ramps already computed from the same masks. Raises MoueError where a mask does not fit the
        surface or the halo is not in [0, 1].
        """
        if not 0.0 <= halo <= 1.0:
            raise MoueError(f"a halo of {halo} is not in [0, 1]", hint="0 forbids it, 0.33 is a third of the ramp")
        for region, mask in masks.items():
            if np.shape(mask) != (skin.n_vertices,):
                raise MoueError(
                    f"the mask of region {region!r} has {np.size(mask)} values, the surface {skin.n_vertices}"
                )
        known = ramps or {}
        self.skin, self.halo = skin, halo
        self.ramps: dict[str, Ramp] = {r: known.get(r) or ramp_of(skin, mask) for r, mask in masks.items()}
        self.zone: Zone = zone_of(skin, list(self.ramps.values()), halo)
        self.near: NDArray[np.int64] = self.zone.free
        self._blends: dict[str, _Blend] = {}
        if len(self.zone.free):
            self._assemble()

    def _assemble(self) -> None:
        """Assemble and factor the system on the vertices in and around the zone."""
        skin, zone = self.skin, self.zone
        free = zone.free
        rows = np.union1d(free, skin.laplacian[free].indices)
        self.near = near = np.union1d(rows, skin.laplacian[rows].indices).astype(np.int64)
        place = np.full(skin.n_vertices, -1, dtype=np.int64)
        place[near] = np.arange(len(near))
        self._at, self._plate_at = place[free], place[rows]
        free_rows = np.searchsorted(rows, free)
        width = (1.0 + 2.0 * self.halo) * zone.width[free]
        touching = skin.laplacian[rows][:, free]
        touching.data = np.ones_like(touching.data)
        widths = touching @ width / np.maximum(touching.getnnz(axis=1), 1)  # beside the zone: mean of free neighbours
        widths[free_rows] = width
        self._laplacian = skin.laplacian[rows][:, near].tocsr()
        self._bend = (self._laplacian[:, self._at].T @ sp.diags(BETA * widths**2 / skin.mass[rows])).tocsr()
        self._energy = (skin.laplacian[free][:, near] + self._bend @ self._laplacian).tocsr()
        hold = skin.mass[free] / width**2 * _lambda(zone.hold)
        self._factor = factorise(self._energy[:, self._at] + sp.diags(hold))
        self._edges(place)

    def _edges(self, place: NDArray) -> None:
        """Collect the edges that have a free end, their triangles, and the sums over the edges of each free vertex."""
        skin, free = self.skin, self.zone.free
        number = np.full(skin.n_vertices, -1, dtype=np.int64)
        number[free] = np.arange(len(free))
        chosen = np.flatnonzero((number[skin.ends] >= 0).any(axis=1))
        self._ends = place[skin.ends[chosen]]
        triangles = np.flatnonzero((number[skin.surface.fans[0]] >= 0).any(axis=1))
        slot = np.full(len(skin.ends), len(chosen), dtype=np.int64)
        slot[chosen] = np.arange(len(chosen))
        self._triangles = place[skin.surface.fans[0][triangles]]
        self._triangle_edges = slot[skin.triangle_edges[triangles]].ravel()
        self._triangle_weights = skin.triangle_weights[triangles]
        ends = number[skin.ends[chosen]]
        low, high = np.flatnonzero(ends[:, 0] >= 0), np.flatnonzero(ends[:, 1] >= 0)
        signs = np.concatenate([np.full(len(low), -1.0), np.ones(len(high))])
        at = (np.concatenate([ends[low, 0], ends[high, 1]]), np.concatenate([low, high]))
        self._gather = sp.csr_matrix((signs, at), shape=(len(free), len(chosen)))

    def widened(self, share: NDArray) -> Floats:
        """(n,) a row's share (n,) widened over the zone; the share itself outside."""
        wide = np.array(share, dtype=np.float64)
        if len(self.zone.free):
            wide[self.near] = self._widened(wide[self.near])
        return wide

    def _widened(self, shares: Floats) -> Floats:
        """Shares (m,) or (m, r) at `near`, widened."""
        wide = shares.copy()
        wide[self._at] -= self._factor.solve(np.asfortranarray(self._energy @ shares))
        return wide

    def solve(self, shares: Mapping[str, NDArray], rows: Mapping[str, NDArray]) -> Floats:
        """(f, 3) mm, the displacement of the vertices `zone.free` minus that of the linear join, at strength 1.

        `shares` (m,) in [0, 1] and `rows` (m, 3) mm are those of a recipe at the vertices `near`. What each row adds
        depends on its own share alone, and is linear in the row. A row's blend weights are kept for the next call with
        the same share. Raises MoueError where a row is not finite.
        """
        if not len(self.zone.free):
            return np.zeros((0, 3))
        blends = self._blended({region: np.asarray(shares[region], dtype=np.float64) for region in rows})
        ends = self._ends
        linear, slope = np.zeros((len(self.near), 3)), np.zeros((len(ends), 3))
        plate = np.zeros((self._laplacian.shape[0], 3))
        for region, row in rows.items():
            if not np.isfinite(row).all():
                raise MoueError(f"a shape in row {region!r} has positions that are not finite", hint="repair the shape")
            blend = blends[region]
            linear += blend.share[:, None] * row
            along = row[ends[:, 1]]
            along -= row[ends[:, 0]]
            along *= blend.edges[:, None]
            slope += along
            plate += blend.plates[:, None] * (self._laplacian @ row)
        right = self._gather @ slope + self._bend @ plate - self._energy @ linear
        return np.ascontiguousarray(self._factor.solve(np.asfortranarray(right)))

    def _blended(self, shares: dict[str, Floats]) -> dict[str, _Blend]:
        """The blend weights of rows with these shares; those of an earlier call where the share is the same."""
        known = {region: self._blends.get(region) for region in shares}
        found = {r: one for r, one in known.items() if one is not None and np.array_equal(one.share, shares[r])}
        fresh = [region for region in shares if region not in found]
        if fresh:
            wide = self._widened(np.stack([shares[region] for region in fresh], axis=1))
        for number, region in enumerate(fresh):
            widened = np.ascontiguousarray(wide[:, number])
            parts = self._triangle_weights * widened[self._triangles].mean(axis=1)[:, None]
            summed = np.bincount(self._triangle_edges, weights=parts.ravel(), minlength=len(self._ends) + 1)
            edges = np.asarray(summed[:-1], dtype=np.float64)
            found[region] = self._blends[region] = _Blend(shares[region], edges, widened[self._plate_at])
        return found

    def outside(self, further: NDArray) -> Floats:
        """(n,) mm, how far the result of `solve` (f, 3) moves each vertex outside the ramps; 0 on the ramps."""
        away = np.zeros(self.skin.n_vertices)
        away[self.zone.free] = np.linalg.norm(further, axis=1)
        away[self.zone.ramp] = 0.0
        return away


def seamless_displacement(mixer: Mixer, join: SeamlessJoin, recipe: Recipe, strength: float | None = None) -> Floats:
    """(n, 3) mm, P - N of a recipe by a join that is prepared for the recipe's regions.

    Parts and correctives are as in the linear join; what stands on the skin goes along with it. Raises MoueError as
    `Mixer` for the recipe, and as `SeamlessJoin.solve`.
    """
    total = mixer.displacement(recipe, strength)
    mixer.standing.add_to(total, join.zone.free, further_than_linear(mixer, join, recipe, strength))
    return total


def further_than_linear(mixer: Mixer, join: SeamlessJoin, recipe: Recipe, strength: float | None = None) -> Floats:
    """(f, 3) mm, the displacement of the vertices `join.zone.free` minus that of the linear join. Cells of regions that
    the join was not made for join linearly. Raises as `seamless_displacement`."""
    amount = recipe.strength if strength is None else strength
    if not len(join.zone.free) or amount == 0.0:
        return np.zeros((len(join.zone.free), 3))
    shares = {region: share[join.near] for region, share in mixer.shares(recipe).items()}
    joined = tuple(cell for cell in recipe.cells if cell.region == ALL or cell.region in join.ramps)
    further = join.solve(shares, rows_at(mixer, recipe.with_(cells=joined), join.near))
    further *= amount
    return further


def rows_at(mixer: Mixer, recipe: Recipe, vertices: NDArray) -> dict[str, Floats]:
    """(m, 3) mm by region, the unmasked row of each region with cells at `vertices` (m,)."""
    rows: dict[str, Floats] = {}
    for cell in recipe.cells:
        row = rows.setdefault(cell.region, np.zeros((len(vertices), 3)))
        move = mixer.motion(cell)
        for amount, field in zip(move.amounts(cell.weight), move.fields, strict=True):
            if amount != 0.0:
                row += np.multiply(field[vertices], amount, dtype=np.float64)
    return rows


def _lambda(hold: Floats) -> Floats:
    """(f,) lambda L^2 by hold in [0, 1]; 1.02 keeps it finite at the edge, where it is 2,500 times STIFF."""
    return FLOOR + STIFF * hold**2 / (1.02 - hold) ** 2
