"""The most likely head under a sculpt: a prior's head, drawn to landmarks, closest points and a rim, in rounds.

The amounts b of the prior's fields minimise
    |b|^2 + sum_i w_i (n_i . (x_i - c_i))^2 / sigma^2 + landmarks, curves and rim
for positions x = mean + fields b (maximum a posteriori; Luethi et al. 2018, "Gaussian process morphable models",
section 5). The sum runs over places spread evenly over the skin, each with the closest point c and the normal n of the
sculpt there. Robust weights w fall with the distance; they are zero where normals disagree or the sculpt ends. Each
round finds closest points anew and solves one dense system. The first round knows the landmarks alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.fitting.closest import ClosestSurface
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.prior.leftover import leftover
from composer.fitting.prior.prior import Prior, drawn
from composer.fitting.prior.rims import Rim
from composer.fitting.prior.slide import slide
from composer.geometry.surface import Surface
from composer.progress import Progress

Rows = NDArray[np.float64]

PLACE = 1.28e-4
"""Area of the skin for each place whose closest point counts, as a share of the squared diagonal: 3,000 places on a
face of 475 mm diagonal, 5 mm apart. Closer places do not tell more: their misfit is common."""
MOST_PLACES = 4_000
"""Most such places; of a larger skin each place counts more. It saves time (our choice)."""
SIGMAS = (1.68e-2, 8.4e-3, 4.2e-3)
"""Sigmas before the last one, as shares of the diagonal (8, 4 and 2 mm on a head): far closest points pull little."""
ROUNDS, LAST_ROUNDS = 3, 8
"""Most rounds at each of them, and at the last sigma. Through four landmarks a start is far off: with one round at 4
and 2 mm and five at the last the face erred by 2.1 and 1.5 mm on two people, with six and eight by 1.8 and 1.3."""
STILL = 0.05
"""Rounds at one sigma end where the skin moves by less than this share of it, root mean square (our choice)."""
AGREE = 0.5
"""Cosine between the skin's and the sculpt's normal above which the sculpt pulls: 60 degrees (our choice)."""
FOLLOWS = 3.0
"""Distance at which a robust weight falls to a quarter, in sigmas; as many times the median distance where that is
more (our choice)."""
RIM = 6.3e-3
"""Standard deviation of a place of a rim, across it, as a share of the diagonal: 3 mm on a head, a first guess."""


@dataclass(frozen=True, eq=False)
class Likely:
    """The most likely head: `amounts` (r,) of the prior's fields, `positions` (s, 3) mm, the `factor` of the last
    system (an upper Cholesky factor, r x r), `residual` in mm, the root mean square distance of the places that count,
    and their number `matched`."""

    amounts: Rows
    positions: Rows
    factor: Rows
    residual: float
    matched: int


class Posterior:
    """The system of one fit. Everything is in the library's own space and size, mm."""

    def __init__(
        self, prior: Prior, rest: Surface, sculpt: ClosestSurface, follow: Rows, marks: MarkPulls, scale: float,
        most: int = MOST_PLACES,
    ) -> None:  # fmt: skip
        """`rest` is the library's skin (s vertices), `follow` (s,) in [0, 1] how far each vertex follows the sculpt,
        `scale` the head's diagonal in mm; at `most` so many places count."""
        self.prior, self.rest, self.sculpt, self.follow = prior, rest, sculpt, follow
        self.marks, self.scale = marks, scale
        followed = rest.mass * (follow > 0)
        wanted = max(int(round(followed.sum() / (PLACE * scale**2))), 1)
        self.places = drawn(followed, min(wanted, most)) if followed.any() else np.zeros(0, dtype=np.int64)
        self.share = wanted / max(len(self.places), 1)
        self.columns = prior.columns(self.places).astype(np.float64)
        at, used = marks.at, np.unique(marks.at.indices)
        flat = prior.columns(used).reshape(len(used), 3 * prior.rank).astype(np.float64)
        self.mark_columns = (at[:, used] @ flat).reshape(at.shape[0], 3, prior.rank)
        self.rim: Rim | None = None
        self.rim_columns = np.zeros((0, 3, prior.rank))
        self.border = rest.polygons.border_vertices

    def hold(self, rim: Rim | None) -> None:
        """Draw the line of `rim` to its border from now on."""
        self.rim = rim
        if rim is not None:
            self.rim_columns = self.prior.columns(rim.vertices).astype(np.float64)

    def through_landmarks(self) -> Likely:
        """The head that the landmarks and curves alone make most likely."""
        amounts, positions = np.zeros(self.prior.rank), self.prior.mean
        for _ in range(2 if self.marks.lines else 1):  # places of curves slide to where the first round has them
            left, right = self._prior_alone()
            self._add_marks(left, right, amounts, positions)
            amounts, _ = _solved(left, right)
            positions = self.prior.mean + self.prior.field(amounts)
        return Likely(amounts, positions, np.eye(self.prior.rank), 0.0, 0)

    def under_sculpt(
        self, start: Likely, sigma: float, progress: Progress | None = None, last: int = LAST_ROUNDS
    ) -> Likely:
        """The most likely head under the sculpt, by rounds from `start`; `sigma` is the standard deviation of the
        sculpt about the true surface, for each place, as a share of the diagonal; `last` the most rounds with it."""
        likely = start
        steps = [(coarse, min(ROUNDS, last)) for coarse in SIGMAS if coarse > sigma] + [(sigma, last)]
        for number, (each, most) in enumerate(steps):
            for turn in range(most):
                if progress is not None:
                    progress((number + turn / most) / len(steps), "bending onto the sculpt")
                before, likely = likely, self._round(likely, each * self.scale)
                moved = likely.positions - before.positions
                if np.sqrt((moved**2).sum(axis=1).mean()) < STILL * each * self.scale:
                    break
        return likely

    def corrected(self, likely: Likely) -> Rows:
        """(s, 3) mm, the positions of `likely` with what is left at landmarks and curves, where they agree on it."""
        target, block, _ = self.marks.pulls(likely.positions)
        marked = self.marks.at @ likely.positions
        residual = np.einsum("kij,kj->ki", block, target - marked)
        rest = self.prior.mean
        return likely.positions + leftover(self.marks.at @ rest, residual, rest, self.scale)

    def slide(self, likely: Likely) -> Rows:
        """(s,) mm, how far each vertex may still slide (see `composer.fitting.prior.slide`)."""
        normals = self.rest.at(likely.positions).vertex_normals[self.places]
        return slide(self.columns, likely.factor, normals, likely.positions[self.places], likely.positions)

    def _round(self, before: Likely, sigma: float) -> Likely:
        amounts, positions = before.amounts, before.positions
        left, right = self._prior_alone()
        self._add_marks(left, right, amounts, positions)
        self._add_rim(left, right, amounts, positions)
        weight, normal, off = self._planes(positions, sigma)
        rows = np.einsum("nc,ncr->nr", normal, self.columns)
        strength = self.share * weight / sigma**2
        pulled = rows * np.sqrt(strength)[:, None]
        left += pulled.T @ pulled  # of one array with itself half the work is done
        right += rows.T @ (strength * (off + rows @ amounts))
        amounts, factor = _solved(left, right)
        positions = self.prior.mean + self.prior.field(amounts)
        residual = float(np.sqrt((weight * off**2).sum() / max(weight.sum(), 1e-12)))
        return Likely(amounts, positions, factor, residual, int((weight > 0).sum()))

    def _prior_alone(self) -> tuple[Rows, Rows]:
        return np.eye(self.prior.rank), np.zeros(self.prior.rank)

    def _add_marks(self, left: Rows, right: Rows, amounts: Rows, positions: Rows) -> None:
        """Add the landmarks and curves to a system."""
        target, block, weight = self.marks.pulls(positions)
        wanted = target - self.marks.at @ positions + self.mark_columns @ amounts
        pulled = np.einsum("kij,kjr->kir", block * weight[:, None, None], self.mark_columns)
        flat = self.mark_columns.reshape(-1, self.prior.rank)
        left += flat.T @ pulled.reshape(-1, self.prior.rank)
        right += np.einsum("kir,ki->r", pulled, wanted)

    def _add_rim(self, left: Rows, right: Rows, amounts: Rows, positions: Rows) -> None:
        """Add the rim to a system: its places are drawn across the line of the skin."""
        if self.rim is None:
            return
        way, along, distance = self.rim.pulls(positions[self.rim.vertices])
        deviation = RIM * self.scale
        strength = _robust(distance, max(FOLLOWS * deviation, FOLLOWS * float(np.median(distance)))) / deviation**2
        across = self.rim_columns - along[:, :, None] * np.einsum("ki,kir->kr", along, self.rim_columns)[:, None]
        wanted = way - along * (way * along).sum(1)[:, None] + across @ amounts
        flat = across.reshape(-1, self.prior.rank)
        left += flat.T @ (flat * np.repeat(strength, 3)[:, None])
        right += flat.T @ (wanted * strength[:, None]).ravel()

    def _planes(self, positions: Rows, sigma: float) -> tuple[Rows, Rows, Rows]:
        """The weight (p,), the sculpt's normal (p, 3) and the signed distance (p,) in mm at each place."""
        now = positions[self.places]
        closest = self.sculpt.nearby(now)
        own = self.rest.at(positions).vertex_normals[self.places]
        fits = ((own * closest.normal).sum(1) > AGREE) & (~closest.on_border | self.border[self.places])
        usual = float(np.median(closest.distance[fits])) if fits.any() else 0.0
        weight = fits * self.follow[self.places] * _robust(closest.distance, FOLLOWS * max(sigma, usual))
        return weight, closest.normal, ((closest.points - now) * closest.normal).sum(1)


def _robust(distance: Rows, width: float) -> Rows:
    """Weights in (0, 1] that fall with the distance: the square of Geman and McClure's (1985)."""
    return 1.0 / (1.0 + (distance / width) ** 2) ** 2


def _solved(left: Rows, right: Rows) -> tuple[Rows, Rows]:
    """The solution of a positive definite system and its upper Cholesky factor."""
    factor = la.cholesky(left, lower=False)
    return la.cho_solve((factor, False), right), factor


