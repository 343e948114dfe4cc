"""The rigid motion on which most of a surface agrees, whatever the rest does.

Iteratively reweighted least squares (Holland and Welsch 1977, "Robust regression using iteratively reweighted
least-squares") with the weights of Geman and McClure 1987, "Statistical methods for tomographic image reconstruction".
Each round is an exact rigid fit (`composer.geometry.rigid`). It finds the motion of a head between two scans, and the
turn of a hinge.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from composer.geometry.rigid import Similarity, similarity
from composer.geometry.surface import Floats

ROUNDS = 40
"""Most rounds; the scale reaches its floor after 23 of them (0.03 x 0.7^23 < 1e-5)."""
SAMPLE, SETTLING, NEAR_ROUNDS = 3000, 8, 4
"""Points of a sample that is searched first, the rounds in which all points settle it, and those of a search near a
guess: they limit time only."""
WIDE, NARROW = 0.03, 1e-5
"""The first and the smallest scale of the weights, shares of the points' bounding diagonal. The first is our choice;
the smallest is the rounding of a vertex at rest in files with six digits."""
SHRINKS = 0.7, 0.2
"""Shares of itself between which the scale falls each round: graduated non-convexity (Blake and Zisserman 1987, "Visual
Reconstruction"); the shares are our choice."""
MAD = 1.4826
"""The median distance times this is the standard deviation of normal distances (Rousseeuw and Croux 1993)."""
SETTLED = 1e-9
"""A motion that changes by less than this share of the points' bounding diagonal is final (our choice)."""
AT_REST = 1e-6
"""A vertex that moves less than this share of the points' root mean square size is at rest (our choice: below what
six digits hold). Where more than half of the area rests, the head is at rest."""


def robust_motion(
    source: NDArray,
    target: NDArray,
    weights: NDArray,
    scale_of: Callable[[int, Floats], float],
    rounds: int,
    first: NDArray | None = None,
) -> tuple[Similarity, Floats]:
    """The rigid motion from `source` to `target` (n, 3) on which most of the points agree, and their final weights
    (n,).

    `weights` (n,) are not negative; `first` (n,) are those of the first round. `scale_of(round, distances)` gives the
    distance from the motion, in the points' unit, at which a point counts a quarter. There are at most `rounds` fits,
    fewer once neither the motion nor the scale changes.
    """
    size = float(np.linalg.norm(np.ptp(source, axis=0))) or 1.0
    robust = weights if first is None else first
    motion, scale = similarity(source, target, robust, scaled=False), np.inf
    for number in range(rounds):
        away = np.linalg.norm(motion(source) - target, axis=1)
        scale_before, scale = scale, scale_of(number, away)
        robust = weights / (1.0 + (away / scale) ** 2) ** 2
        if number == rounds - 1:
            break
        before, motion = motion, similarity(source, target, robust, scaled=False)
        changed = np.abs(motion.rotation - before.rotation).max() * size + np.abs(motion.shift - before.shift).max()
        if changed < SETTLED * size and scale == scale_before:
            break
    return motion, robust


def common_motion(source: NDArray, target: NDArray, weights: NDArray, first: NDArray | None = None) -> Similarity:
    """The rigid motion from `source` to `target` (n, 3), in any one unit, on which most of the surface agrees.

    `weights` (n,), not negative, are the area of each vertex, 0 where it does not count. With `first` (n,) the search
    begins with these weights instead. Weights that are all zero give the identity. Of many points a sample is searched
    first, and all of them settle the last digits.
    """
    counted = np.flatnonzero(weights > 0)
    if not len(counted):
        return similarity(source, target, weights, scaled=False)
    source, target, weights = source[counted], target[counted], weights[counted]
    start = None if first is None or not first[counted].any() else first[counted]
    if len(counted) <= 2 * SAMPLE:
        return _agreed(source, target, weights, start, WIDE, ROUNDS)
    some = np.random.default_rng(0).permutation(len(counted))[:SAMPLE]
    held = None if start is None or not start[some].any() else start[some]
    found = _agreed(source[some], target[some], weights[some], held, WIDE, ROUNDS)
    away = np.linalg.norm(found(source) - target, axis=1)
    size = float(np.linalg.norm(np.ptp(source, axis=0))) or 1.0
    scale = max(2.0 * MAD * _weighted_median(away, weights), NARROW * size)
    near = weights / (1.0 + (away / scale) ** 2) ** 2
    return _agreed(source, target, weights, near, scale / size, SETTLING)


def settled_motion(source: NDArray, target: NDArray, weights: NDArray, guess: Similarity) -> Similarity:
    """The rigid motion from `source` to `target` (n, 3), in any one unit, on which most of the surface agrees, near a
    `guess`: what lies further from it than most does not count. `weights` (n,) as in `common_motion`."""
    size = float(np.linalg.norm(np.ptp(source, axis=0))) or 1.0

    def scale_of(_: int, away: Floats) -> float:
        return max(2.0 * MAD * _weighted_median(away, weights), NARROW * size)

    away = np.linalg.norm(guess(source) - target, axis=1)
    near = weights / (1.0 + (away / scale_of(0, away)) ** 2) ** 2
    return robust_motion(source, target, weights, scale_of, NEAR_ROUNDS, near)[0] if near.any() else guess


def _agreed(
    source: NDArray, target: NDArray, weights: NDArray, first: NDArray | None, wide: float, rounds: int
) -> Similarity:  # fmt: skip
    """The motion on which most agree, the scale falling from `wide`, a share of the size."""
    size = float(np.linalg.norm(np.ptp(source, axis=0))) or 1.0
    scale = wide * size / SHRINKS[0]

    def scale_of(number: int, away: Floats) -> float:
        nonlocal scale
        about = 2.0 * MAD * _weighted_median(away, weights)
        scale = max(min(SHRINKS[0] * scale, max(about, SHRINKS[1] * scale)), NARROW * size)
        return scale

    return robust_motion(source, target, weights, scale_of, rounds + 1, first)[0]


def is_at_rest(positions: NDArray, mass: NDArray, delta: NDArray) -> bool:
    """Whether more than half of the area `mass` (n,) of `positions` (n, 3) does not move by `delta` (n, 3) at all: then
    the head has no motion of its own.
    """
    total = float(mass.sum())
    if not total > 0.0:
        return False
    share = mass / total
    off = positions - share @ positions
    size = float(np.sqrt(share @ np.einsum("ij,ij->i", off, off)))
    square = np.einsum("ij,ij->i", delta, delta, dtype=np.float64)
    return float(share[square <= (AT_REST * size) ** 2].sum()) > 0.5


def without_head_motion(positions: Floats, mass: Floats, delta: NDArray) -> Floats:
    """(n, 3) the displacement `delta` (n, 3) of `positions` (n, 3), all mm, without the head's own motion.

    `mass` (n,) is each vertex's area, 0 for what does not count (eyes, teeth). A shape in which more than half of the
    area is at rest is returned unchanged.
    """
    moved = np.asarray(delta, dtype=np.float64)
    if is_at_rest(positions, mass, moved):
        return moved
    motion = common_motion(positions, positions + moved, mass / mass.sum())
    return motion.inverse()(positions + moved) - positions


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order[min(int(np.searchsorted(total, 0.5 * total[-1])), len(values) - 1)]])
