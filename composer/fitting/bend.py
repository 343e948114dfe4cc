"""The bend of a fit: the deviation of a cage from its warp that brings it onto a sculpt and keeps it smooth.

In rounds, every vertex is given its closest point of the sculpt, and the deviation d from the warped positions P0
minimises
    sum_i m_i w_i (n_i . (P0_i + d_i - c_i))^2 / sigma^2 + landmarks and curves + (1 / p^2) (l / 2 pi)^6 |grad Lap d|^2
Lengths are in units of the head's diagonal. p is the expected error of the warp, m the share of the surface, c the
closest point and n the sculpt's normal there, l the wavelength above which the skin bends freely. w is a robust weight;
it is zero where normals disagree, at borders and in free zones. So points are drawn to planes, against a tri-Laplacian
of d. This is a local-global scheme (Bouaziz et al. 2012, "Shape-up"): closest points are the local step, d the global.

The *coarse* pass looks for d among the surface's smoothest functions only (`composer.geometry.eigenbasis`), in which
the tri-Laplacian is a number for each function. Faster variations cannot be told from noise, and would move the rest.
The *fine* pass corrects what is left at every vertex, more stiffly, by conjugate gradients with one factorisation as
the preconditioner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.mark_pulls import Blocks, MarkPulls
from composer.geometry.conjugate_gradients import Product, conjugate_gradients
from composer.geometry.eigenbasis import smoothest
from composer.geometry.surface import Surface, factorise

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

FUNCTIONS = 300
"""Smooth functions in the coarse pass: 50 to 100 double the error of smooth maps, 200 leave more error than 300 on maps
with relief (chosen on the tuning seeds of the fit's bench, see DEVELOPERS.md)."""
PER_FUNCTION = 5
"""Least vertices for each smooth function: smaller cages have fewer functions (our choice)."""
SAMPLE = 6_000
"""Most vertices whose planes are used in the coarse pass; larger cages use a random sample. It saves time (our choice).
"""
CG_STEPS = 40
"""Most steps of conjugate gradients in the fine pass (our choice)."""
AGREE = 0.5
"""Cosine between the skin's and the sculpt's normal above which the sculpt pulls: 60 degrees (our choice)."""
FOLLOWS = 12.0
"""Distance at which the robust weight falls to a quarter, in sigmas (our choice); three times the median distance where
that is more."""
LEAST_MASS = 0.05
"""Least mass of a vertex, as a share of the median mass (our choice): tiny polygons do not spoil the tri-Laplacian."""


@dataclass(frozen=True)
class BendPass:
    """The result of one pass of the bend: its `name`, the `wavelength` above which it bends freely and `sigma`, both in
    units of the head's diagonal, the median distance in mm of the vertices that the sculpt pulls, and their number."""

    name: str
    wavelength: float
    sigma: float
    median_mm: float
    matched: int


@dataclass(frozen=True, eq=False)
class _Pull:
    """The pulls of one round. For each vertex (s,): the `weight` of its plane, the plane's `normal` (s, 3) and the
    signed distance `off` to it. For each landmark (k,): a `block` (k, 3, 3) and its wanted deviation `goal` (k, 3)."""

    weight: Rows
    normal: Rows
    off: Rows
    block: Blocks
    goal: Rows


class Bend:
    """The bend of one fit: holds P0 and the deviation so far; `coarse` and `fine` improve the deviation."""

    def __init__(
        self, surface: Surface, rest: Surface, sculpt: ClosestSurface, follow: Rows, marks: MarkPulls, scale: float,
        prior: float,
    ) -> None:  # fmt: skip
        """`surface` is P0 (s vertices, mm). The stiffness is that of `rest`, the library's own skin, whose triangles
        the warp has not distorted. `follow` (s,) in [0, 1] is how far each vertex follows the sculpt, `scale` the
        head's diagonal in mm, and `prior` the expected error of P0 in units of `scale`."""
        self.surface, self.sculpt, self.marks, self.scale, self.prior = surface, sculpt, marks, scale, prior
        self.follow = follow
        mass = rest.mass / scale**2
        self.mass = np.maximum(mass, LEAST_MASS * np.median(mass))
        self.share = self.mass / self.mass.sum()
        self.laplacian = rest.laplacian.tocsr()
        self.deviation = np.zeros_like(surface.positions)
        self.border = surface.polygons.border_vertices

    @property
    def positions(self) -> Rows:
        """(s, 3) mm, the present positions of the skin's vertices."""
        return self.surface.positions + self.deviation * self.scale

    def coarse(self, wavelength: float, sigma: float, rounds: int) -> BendPass:
        """Rounds in which the deviation is a sum of the surface's smoothest functions: a small dense system.

        `wavelength` and `sigma` are in units of the head's diagonal.
        """
        basis = smoothest(self.laplacian, self.mass, min(FUNCTIONS, max(len(self.mass) // PER_FUNCTION, 1)))
        stiffness = self._stiffness(wavelength) * basis.rates**3
        at_marks = self.marks.at @ basis.functions
        sample = np.arange(len(self.mass))
        if len(sample) > SAMPLE:
            sample = np.sort(np.random.default_rng(0).choice(sample, SAMPLE, replace=False))
        values, amounts = basis.functions[sample], np.zeros((basis.functions.shape[1], 3))
        single = values.astype(np.float32)
        for _ in range(rounds):
            pull = self._pull(sigma, moved_by=at_marks @ amounts)
            amounts = _amounts(pull, values, single, at_marks, sample, amounts, stiffness)
            self.deviation = basis.functions @ amounts
        return self._result("coarse", wavelength, sigma, pull)

    def fine(self, wavelength: float, sigma: float, rounds: int) -> BendPass:
        """Rounds over every vertex that correct the present deviation; arguments as in `coarse`."""
        inverse = sp.diags(1.0 / self.mass)
        third = (self.laplacian @ inverse @ self.laplacian @ inverse @ self.laplacian).tocsr()
        stiff = third * self._stiffness(wavelength)
        kept = stiff @ self.deviation
        precondition: Product | None = None
        marks = self.marks.at
        for _ in range(rounds):
            pull = self._pull(sigma, moved_by=marks @ self.deviation)
            blocks = pull.weight[:, None, None] * pull.normal[:, :, None] * pull.normal[:, None, :]
            right = kept + np.einsum("nij,nj->ni", blocks, self.deviation)
            right += (pull.weight * pull.off)[:, None] * pull.normal
            right += marks.T @ np.einsum("nij,nj->ni", pull.block, pull.goal)
            if precondition is None:
                trace = np.einsum("nii->n", pull.block)[:, None] / 3
                hold = sp.diags(np.einsum("nii->n", blocks) / 3) + marks.T @ marks.multiply(trace)
                factor = factorise(stiff + hold)

                def precondition(r: Rows, factor=factor) -> Rows:  # type: ignore[misc]
                    return factor.solve(np.asfortranarray(r))

            def product(x: Rows, blocks: Blocks = blocks, block: Blocks = pull.block) -> Rows:
                held = marks.T @ np.einsum("nij,nj->ni", block, marks @ x)
                return stiff @ x + np.einsum("nij,nj->ni", blocks, x) + held

            self.deviation, _ = conjugate_gradients(product, right, self.deviation, precondition, CG_STEPS)
        return self._result("fine", wavelength, sigma, pull)

    def _pull(self, sigma: float, moved_by: Rows) -> _Pull:
        """The pulls of the sculpt and the landmarks on the skin as it is; `moved_by` (k, 3) is the present deviation of
        the landmarks."""
        now = self.positions
        closest = self.sculpt.nearby(now)
        weight = self._weights(closest.normal, closest.distance, closest.on_border, now, sigma)
        off = ((closest.points - now) * closest.normal).sum(1) / self.scale
        target, block, strength = self.marks.pulls(now)
        block = block * (strength / len(now))[:, None, None]
        return _Pull(weight, closest.normal, off, block, moved_by + (target - self.marks.at @ now) / self.scale)

    def _result(self, name: str, wavelength: float, sigma: float, pull: _Pull) -> BendPass:
        used = pull.weight > 0
        closest = self.sculpt.nearby(self.positions)
        median = float(np.median(closest.distance[used])) if used.any() else 0.0
        return BendPass(name, wavelength, sigma, median, int(used.sum()))

    def _stiffness(self, wavelength: float) -> float:
        """The weight of |grad Lap d|^2."""
        return (wavelength / (2 * np.pi)) ** 6 / self.prior**2

    def _weights(self, normal: Rows, distance: Rows, on_border: Flags, now: Rows, sigma: float) -> Rows:
        """(s,) the weight of each vertex's plane, from share, free zones, normals, borders and distance."""
        cosine = (self.surface.at(now).vertex_normals * normal).sum(1)
        off = distance / self.scale
        width = max(FOLLOWS * sigma, 3.0 * float(np.median(off)))
        robust = 1.0 / (1.0 + (off / width) ** 2) ** 2
        fits = (cosine > AGREE) & (~on_border | self.border)
        return self.share * self.follow * robust * fits / sigma**2


def _amounts(
    pull: _Pull, values: Rows, single: NDArray[np.float32], at_marks: Rows, sample: NDArray, before: Rows,
    stiffness: Rows,
) -> Rows:  # fmt: skip
    """(k, 3) the amounts of k smooth functions that minimise the energy of a round.

    `values` (h, k) are the functions at the vertices `sample` (h,), `single` the same in float32, and `at_marks` their
    values at the landmarks; `before` (k, 3) are the present amounts, `stiffness` (k,) the cost of each function.
    """
    k = values.shape[1]
    weight = pull.weight[sample] * (len(pull.weight) / len(sample))
    normal = pull.normal[sample]
    along = (normal * (values @ before)).sum(1) + pull.off[sample]
    goal = np.einsum("nij,nj->ni", pull.block, pull.goal)
    left, right = np.empty((3, k, 3, k)), np.empty((3, k))
    for i in range(3):
        right[i] = values.T @ (weight * along * normal[:, i]) + at_marks.T @ goal[:, i]
        for j in range(i, 3):
            both = (weight * normal[:, i] * normal[:, j]).astype(np.float32)
            part = (single.T @ (both[:, None] * single)).astype(np.float64)
            part += at_marks.T @ (pull.block[:, i, j][:, None] * at_marks)
            left[i, :, j, :], left[j, :, i, :] = part, part.T
        left[i, :, i, :] += np.diag(stiffness)
    matrix = left.reshape(3 * k, 3 * k)
    return la.solve(matrix, right.ravel(), assume_a="sym").reshape(3, k).T
