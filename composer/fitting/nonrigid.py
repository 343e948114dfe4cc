"""The fit itself: the library's cage as the most likely head under a sculpt.

1. *Align*: the similarity of the landmark pairs. The rest is computed in the head's own space and size, so that a moved
   or scaled sculpt gives the moved or scaled fit.
2. *Landmarks*: what they make likely, under the prior of the library (`composer.fitting.prior.skin_prior`: smoothness,
   and the heads that were fitted before). They pull and do not pin: how exactly they were placed is estimated.
3. *Sculpt*: closest points and the sculpt's rim draw the skin, in rounds (`composer.fitting.prior.posterior`).
4. *Land*: `composer.fitting.landing` brings the vertices onto the sculpt itself, without folded faces.

How closely the sculpt is followed is measured (`composer.fitting.own_detail`): the more the sculpt's fine relief
differs from the cage's, the larger sigma. DEVELOPERS.md tells what was tried.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError, unknown
from composer.fitting.align import Pairs, Similarity, similarity
from composer.fitting.closest import ClosestSurface
from composer.fitting.landing import land
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.own_detail import own_detail
from composer.fitting.prior.placed_noise import ENOUGH, left_out, placed_noise
from composer.fitting.prior.posterior import Likely, Posterior
from composer.fitting.prior.prior import Prior
from composer.fitting.prior.rims import find_rim
from composer.fitting.prior.skin_prior import HEADS, LARGE, skin_prior
from composer.fitting.skin import Skin
from composer.fitting.warp import warp
from composer.geometry.polygons import read_only
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.progress import Progress

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Lengths below are shares of the head's diagonal.
SIGMA = (5e-4, 3.6e-3)
"""Bounds of sigma, the standard deviation of the sculpt about the true surface: the larger, the less it pulls."""
NO_DETAIL = 5e-5
"""Difference of fine relief that still counts as none."""
DETAIL_TO_SIGMA = 30.0
"""Sigma for each unit of relief difference beyond NO_DETAIL (no unit)."""
CLEARLY = 0.75
"""The warp is taken where its error is less than this share of the prior's: on two people the share is 0.80 to 1.03,
and taking it makes the skin up to 0.6 mm worse; on planted maps and a sculpt with all its curves it is 0.71 or less."""
LEAST_ABOUT = 5e-4
"""Least amplitude of the prior about the landmarks' warp (chosen on planted maps)."""


@dataclass(frozen=True, eq=False)
class Fitted:
    """The fitted head: `positions` (n, 3) mm in the sculpt's space, parts moved by the similarity only (see
    `composer.fitting.parts`); `aligned` the similarity; `warped` (n, 3) where the landmarks alone put it; `rejected`
    and `filled` (n,) as in `composer.fitting.project.Settled`; `own_detail` the fine detail in mm that the sculpt has
    and the cage has not; `likely` the result of the rounds, in the library's own space; `noise_mm` the deviation of the
    landmarks as they were placed; `slides` gives `slide_mm`; `from_heads`
    the share in [0, 1] of the difference from the library that earlier heads explain, smoothness the rest;
    `left_out_mm` (k,) how far each landmark lies from where the others put it, and `unlikely` (k,) that in the
    deviations that are expected there, (0,) where they are too few to tell;
    `notes` sentences for the user.
    """

    positions: Rows
    aligned: Similarity
    warped: Rows
    rejected: Flags
    filled: Flags
    own_detail: float
    likely: Likely
    noise_mm: float
    slides: Callable[[], Rows]
    from_heads: float
    left_out_mm: Rows
    unlikely: Rows
    notes: tuple[str, ...] = ()

    @cached_property
    def slide_mm(self) -> Rows:
        """(n,) mm, how far each vertex may still slide along the sculpt; found when first asked for."""
        return self.slides()


def fit(
    head: Head, sculpt: ClosestSurface, pairs: Pairs, free: NDArray | None = None, *, aligned: Similarity | None = None,
    settled: bool = True, earlier: Sequence[NDArray] = (), pinned: Sequence[str] = (), noise_mm: float | None = None,
    progress: Progress | None = None,
) -> Fitted:  # fmt: skip
    """Fit the cage of a head of n vertices onto a sculpt, in the four steps of this module.

    `pairs` are the landmarks, at least three points that are not on one line. `free` (n,) in [0, 1] is 1 where the cage
    does not follow the sculpt (mouth interior, eye sockets). `aligned` is the similarity to begin with; without it that
    of the pairs is taken. With `settled` False the vertices stay where the rounds leave them, near the sculpt.
    `earlier` are neutrals (n, 3) of other heads of the same topology; `pinned` names landmarks that hold; `noise_mm` is
    the standard deviation of the others on the sculpt along an axis, estimated where it is not given.
    Raises MoueError where the landmarks do not give a similarity, the mask or an earlier head has another length, a
    pinned landmark is unknown, or the deviation is not above 0.
    """
    say: Progress = progress or (lambda fraction, words: None)
    say(0.0, "aligning")
    move = aligned or similarity(pairs.head, pairs.sculpt)
    n = head.n_vertices
    freedom = np.zeros(n) if free is None else np.clip(np.asarray(free, dtype=np.float64), 0.0, 1.0)
    if freedom.shape != (n,):
        raise MoueError(f"the free mask has {len(freedom)} values, the head {n} vertices")
    for name in pinned:
        if name not in pairs.names:
            raise unknown("landmark", name, pairs.names)
    if noise_mm is not None and not noise_mm > 0:
        raise MoueError(f"landmarks cannot be placed within {noise_mm:g} mm", hint="give a length above 0")
    for places in earlier:
        if np.shape(places) != (n, 3):
            raise MoueError(f"an earlier head has {len(places)} vertices, the head {n}")
    skin = Skin.of(head)
    back = move.inverse()
    aligned_sculpt = sculpt.moved(back)
    pairs = pairs.moved(back)
    neutral, scale, skin_freedom = head.neutral, head.diagonal, freedom[skin.vertices]
    rest = Surface(skin.polygons, neutral[skin.vertices])
    say(0.05, "learning what is likely")
    prior = skin_prior(head, skin, skin_freedom, earlier)
    posterior, noise, left = _through(
        prior, rest, aligned_sculpt, 1.0 - skin_freedom, skin, pairs, head, pinned,
        None if noise_mm is None else noise_mm / move.scale,
    )  # fmt: skip
    say(0.2, "going through the landmarks")
    warped = posterior.through_landmarks()
    rim = find_rim(head, skin, warped.positions, aligned_sculpt)
    posterior.hold(None if rim is None else rim[0])
    notes = () if rim is None else (f"The sculpt's long border is taken for {rim[1]}.",)
    detail = own_detail(rest.at(warped.positions), aligned_sculpt, skin_freedom, scale)
    sigma = float(np.clip(DETAIL_TO_SIGMA * (detail - NO_DETAIL), *SIGMA))
    likely = posterior.under_sculpt(warped, sigma, lambda done, words: say(0.3 + 0.5 * done, words))
    bent = posterior.corrected(likely)
    positions, landmarked = neutral.copy(), neutral.copy()
    rejected, filled = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    positions[skin.vertices], landmarked[skin.vertices] = bent, warped.positions
    positions = move(positions)
    if settled:
        say(0.85, "settling on the sculpt")
        landed = land(head, positions, sculpt, pairs.only(pinned).moved(move), freedom, move.scale)
        positions, rejected, filled = landed.positions, landed.rejected, landed.filled

    def slides() -> Rows:
        slide_mm = np.zeros(n)
        slide_mm[skin.vertices] = posterior.slide(likely) * move.scale
        return read_only(slide_mm)

    say(1.0, "fitted")
    return Fitted(
        read_only(positions), move, read_only(move(landmarked)), rejected, filled, detail * scale * move.scale, likely,
        noise * move.scale, slides,
        posterior.prior.share_of(HEADS, likely.amounts) if len(earlier) else 0.0, left[0] * move.scale, left[1], notes,
    )  # fmt: skip


def _through(
    prior: Prior, rest: Surface, sculpt: ClosestSurface, follow: Rows, skin: Skin, pairs: Pairs, head: Head,
    pinned: Sequence[str], noise: float | None,
) -> tuple[Posterior, float, tuple[Rows, Rows]]:  # fmt: skip
    """The system of the fit, the landmarks' deviation in mm, which is estimated where `noise` is None, and what
    `left_out` says of each."""
    scale = head.diagonal
    marks = MarkPulls.of(skin, pairs, head.neutral, 1.0, pinned)
    count = len(pairs.names)
    at, used = marks.at[:count], np.unique(marks.at[:count].indices)
    flat = prior.columns(used).reshape(len(used), 3 * prior.rank).astype(np.float64)
    columns = (at[:, used] @ flat).reshape(count, 3, prior.rank)
    wanted = pairs.sculpt - at @ prior.mean
    estimated, unlike = placed_noise(columns, wanted, scale)
    deviation = estimated if noise is None else noise
    about = _about_the_warp(prior.times(unlike), columns * unlike, pairs, at, deviation, scale)
    left = left_out(columns * unlike, wanted, deviation)
    return Posterior(about, rest, sculpt, follow, marks.with_noise(deviation), scale), deviation, left


def _about_the_warp(
    prior: Prior, columns: Rows, pairs: Pairs, at: sp.csr_matrix, noise: float, scale: float
) -> Prior:
    """The prior, about the landmarks' warp where that foretells left-out landmarks clearly better than the prior does.

    `columns` (k, 3, r) mm are its fields at k landmarks and `at` (k, s) their places. It does where landmarks are exact
    and the head differs from the library more smoothly than people do. The prior's differences are then those from the
    warp, as large as its error.
    """
    if len(pairs.names) < ENOUGH:
        return prior
    through, error = warp(pairs, prior.mean, scale)
    own, _ = left_out(columns, pairs.sculpt - at @ prior.mean, noise)
    if not error < CLEARLY * np.sqrt((own**2).mean()):
        return prior
    size = float(np.clip(error / scale, LEAST_ABOUT, LARGE[0]))
    return replace(prior.times(size / LARGE[0]), mean=through(prior.mean))
