"""The seamless join: where regions meet, shapes are blended by their slopes and not by their places.

Mixing places by a mask makes two movements that disagree meet within the ramp: what they disagree about, over the
ramp's width, becomes strain. Blending their gradients instead leaves that term out, and the skin finds the places
that go with them (after Yu et al. 2004 and Sorkine et al. 2004). On the ramps and a halo beside them, with g the
rows' shares and R their displacements, u is what makes least

    sum A |grad u - sum g grad R|^2 + BETA L^2 sum A |lap u - sum g lap R|^2 + sum A lambda |u - sum g R|^2

with L the width of ramp and halo together and lambda rising smoothly to the edge, so that the join neither creases
there nor moves what lies outside. In the two last terms and the first, g are the shares widened over the halo. What
is solved for is the difference to the linear join, so that outside, and wherever rows agree, nothing changes.

u is linear in the rows. The matrix depends on masks and halo alone and is factored once; new weights cost a back
substitution.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.mixing.linear import Mixer, moved
from composer.mixing.recipe import ALL, HALO, Recipe
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import Ramp, Zone, ramp_of, zone_of
from masks.surface import factorise

Floats = NDArray[np.float64]

BETA = 0.02
STIFF = 30.0
FLOOR = 1.0
"""What lambda L^2 is in the middle: enough to end a join's reach after about its own width."""
SPREAD = 1.0
"""The standard deviation by which shares are widened over the halo, as a fraction of the halo."""


class SeamlessJoin:
    """The join for one set of masks: prepared once, then solved for any rows."""

    def __init__(
        self, skin: SeamlessSurface, masks: Mapping[str, NDArray], *, halo: float = HALO,
        ramps: Mapping[str, Ramp] | None = None,
    ) -> None:  # fmt: skip
        """Take effective `masks` (n,) by region, and the halo's width as a fraction (0 to 1) of the ramp's.

        `ramps` may hold ramps made before of the same masks. Raises MoueError where a mask does not fit the
        surface or the halo is not in [0, 1].
        """
        if not 0.0 <= halo <= 1.0:
            raise MoueError(f"a halo of {halo} is not in [0, 1]", mend="0 forbids it, 0.33 is a third of the ramp")
        for region, mask in masks.items():
            if np.shape(mask) != (skin.n_vertices,):
                raise MoueError(
                    f"the mask of region {region!r} has {np.size(mask)} values, the surface {skin.n_vertices}"
                )
        known = ramps or {}
        self.skin, self.halo = skin, halo
        self.ramps: dict[str, Ramp] = {r: known.get(r) or ramp_of(skin, mask) for r, mask in masks.items()}
        self.zone: Zone = zone_of(skin, list(self.ramps.values()), halo)
        if len(self.zone.free):
            self._assemble()

    def _assemble(self) -> None:
        """Everything on the few vertices around the zone: `_near` (m,), of which `_at` (f,) are free."""
        skin, free, zone = self.skin, self.zone.free, self.zone
        rows = np.unique(skin.laplacian[free].indices)
        self._near = near = np.unique(skin.laplacian[rows].indices)
        place = np.full(skin.n_vertices, -1, dtype=np.int64)
        place[near] = np.arange(len(near))
        self._at = place[free]
        mass = skin.mass
        whole = (1.0 + 2.0 * self.halo) * zone.width
        whole[rows] = np.where(whole[rows] > 0, whole[rows], whole[free].mean())
        self._rows_at = place[rows]
        self._lap = skin.laplacian[rows][:, near].tocsr()
        self._plate = BETA * whole[rows] ** 2 / mass[rows]
        self._back = self._lap[:, self._at].T.tocsr()
        self._hold = mass[free] / whole[free] ** 2 * _lambda(zone.hold)
        slopes = skin.laplacian[free][:, free]
        plate = self._back @ sp.diags(self._plate) @ self._back.T
        self._factor = factorise(slopes + plate + sp.diags(self._hold))
        self._edges(place)
        if self.halo > 0:
            spread = (SPREAD * self.halo * zone.width[free]) ** 2
            self._spread = mass[free] / spread
            self._widen = factorise(slopes + sp.diags(self._spread))
            self._slope_rows = skin.laplacian[free][:, near].tocsr()

    def _edges(self, place: NDArray) -> None:
        """The edges with a free end, and the triangles that have one."""
        skin = self.skin
        inside = np.zeros(skin.n_vertices, dtype=bool)
        inside[self.zone.free] = True
        chosen = np.flatnonzero(inside[skin.ends].any(axis=1))
        number = np.full(len(skin.ends), len(chosen), dtype=np.int64)
        number[chosen] = np.arange(len(chosen))
        triangles = np.flatnonzero(inside[skin.surface.fans[0]].any(axis=1))
        self._triangles = place[skin.surface.fans[0][triangles]]
        self._triangle_edges = number[skin.triangle_edges[triangles]].ravel()
        self._triangle_weights = skin.triangle_weights[triangles]
        self._ends = place[skin.ends[chosen]]
        self._weights = skin.edge_weights[chosen]
        rows = np.arange(len(chosen))
        there = np.full(skin.n_vertices, -1, dtype=np.int64)
        there[self.zone.free] = np.arange(len(self.zone.free))
        ends = there[skin.ends[chosen]]
        low, high = ends[:, 0] >= 0, ends[:, 1] >= 0
        self._gather = sp.csr_matrix(
            (np.r_[-np.ones(low.sum()), np.ones(high.sum())],
             (np.r_[ends[low, 0], ends[high, 1]], np.r_[rows[low], rows[high]])),
            shape=(len(self.zone.free), len(chosen)),
        )  # fmt: skip

    def widened(self, share: NDArray) -> Floats:
        """(n,) a row's share (n,) widened over the halo; the share itself outside the zone and without a halo."""
        wide = np.array(share, dtype=np.float64)
        if self.halo > 0 and len(self.zone.free):
            free = self.zone.free
            wide[free] -= self._widen.solve(self._slope_rows @ wide[self._near])
        return wide

    def solve(self, shares: Mapping[str, NDArray], rows: Mapping[str, NDArray]) -> Floats:
        """(f, 3) mm, how much further than the linear join the vertices `zone.free` go.

        `shares` (n,) and `rows` (n, 3) mm are what `composer.mixing.linear.Mixer` gives of a recipe at strength 1.
        Raises MoueError where a row is not finite.
        """
        if not len(self.zone.free):
            return np.zeros((0, 3))
        ends, near = self._ends, self._near
        linear = np.zeros((len(near), 3))
        slope = np.zeros((len(ends), 3))
        plate = np.zeros((self._lap.shape[0], 3))
        held = np.zeros((len(self._at), 3))
        for region, row in rows.items():
            here = row[near]
            if not np.isfinite(here).all():
                raise MoueError(f"a shape of the row {region!r} has places that are not numbers", mend="mend the shape")
            wide = self.widened(shares[region])[near]
            linear += shares[region][near, None] * here
            slope += self._mean_weights(wide)[:, None] * (here[ends[:, 1]] - here[ends[:, 0]])
            plate += wide[self._rows_at, None] * (self._lap @ here)
            held += wide[self._at, None] * here[self._at]
        slope -= self._weights[:, None] * (linear[ends[:, 1]] - linear[ends[:, 0]])
        plate -= self._lap @ linear
        held -= linear[self._at]
        plate *= self._plate[:, None]
        right = self._gather @ slope + self._back @ plate + self._hold[:, None] * held
        return np.ascontiguousarray(self._factor.solve(np.asfortranarray(right)))

    def outside(self, further: NDArray) -> Floats:
        """(n,) mm, how far a difference to the linear join (n, 3) reaches outside the ramps; 0 on them."""
        return np.where(self.zone.ramp, 0.0, np.linalg.norm(further, axis=1))

    def _mean_weights(self, wide: NDArray) -> Floats:
        """(E',) the weights of the edges with every triangle's part times the mean of `wide` (m,) over it."""
        parts = self._triangle_weights * wide[self._triangles].mean(axis=1)[:, None]
        summed = np.bincount(self._triangle_edges, weights=parts.ravel(), minlength=len(self._ends) + 1)
        return np.asarray(summed[:-1])


def _lambda(hold: Floats) -> Floats:
    return FLOOR + STIFF * hold**2 / (1.02 - hold) ** 2


def seamless_displacement(
    mixer: Mixer, join: SeamlessJoin, recipe: Recipe, strength: float | None = None
) -> Floats:
    """(n, 3) mm, P - N of a recipe by the join, which is prepared for the recipe's regions; parts are as in the
    linear join. Raises what the mixer raises for the recipe, and as `SeamlessJoin.solve`.
    """
    total = mixer.displacement(recipe, strength)
    if len(join.zone.free):
        further = join.solve(mixer.shares(recipe), mixer.rows(recipe))
        total[join.zone.free] += (recipe.strength if strength is None else strength) * further
    return total


def seamless_pose(mixer: Mixer, recipe: Recipe, *, halo: float | None = None, strength: float | None = None) -> Floats:
    """(n, 3) mm, the pose of one recipe joined seamlessly, everything made anew; see `SeamlessJoin`.

    The halo is the recipe's own unless another is given.
    """
    skin = SeamlessSurface(mixer.head.surface, mixer.head.skin)
    masks = {region: mixer.masks[region] for region in recipe.regions if region in mixer.masks and region != ALL}
    join = SeamlessJoin(skin, masks, halo=recipe.halo if halo is None else halo)
    return moved(mixer.head.neutral, seamless_displacement(mixer, join, recipe, strength))
