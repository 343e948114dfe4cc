"""A curve of one weight over time: piecewise, each piece held, straight, or cubic.

Between keys i and i + 1 with h = t_{i+1} - t_i and s = (t - t_i) / h a cubic piece is the Hermite curve

    (1 + 2s)(1 - s)^2 v_i + s (1 - s)^2 h out_i + s^2 (3 - 2s) v_{i+1} + s^2 (s - 1) h in_{i+1}

Smooth pieces take their slopes from the monotone piecewise cubic of Fritsch and Carlson 1980 ("Monotone Piecewise Cubic
Interpolation", SIAM J. Numer. Anal. 17(2)), with the harmonic mean of Fritsch and Butland 1984, as scipy's
PchipInterpolator computes it: nothing overshoots. Pieces that follow each other and are smooth share one such curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.formats.weight_track import WeightTrack

Interpolation = Literal["hold", "linear", "smooth"]
INTERPOLATIONS: tuple[Interpolation, ...] = ("hold", "linear", "smooth")


@dataclass(frozen=True, eq=False)
class Curve:
    """Values (k,) at rising `times` (k,); pieces (k - 1,) with their slopes as they leave and arrive, per unit of time.

    `held` says which pieces hold their first value; their slopes do not count. Outside the times the curve stands
    still.
    """

    times: NDArray[np.float64]
    values: NDArray[np.float64]
    leaves: NDArray[np.float64]
    arrives: NDArray[np.float64]
    held: NDArray[np.bool_]

    def at(self, times: ArrayLike) -> NDArray[np.float64]:
        """The values (m,) at `times` (m,). At a key's own time it is the key's value, bit for bit."""
        asked = np.atleast_1d(np.asarray(times, dtype=np.float64))
        if len(self.times) == 1:
            return np.full(asked.shape, self.values[0])
        piece = np.clip(np.searchsorted(self.times, asked, side="right") - 1, 0, len(self.times) - 2)
        start, end = self.values[piece], self.values[piece + 1]
        h = self.times[piece + 1] - self.times[piece]
        s = np.clip((asked - self.times[piece]) / h, 0.0, 1.0)
        bend_out = h * self.leaves[piece] - (end - start)
        bend_in = h * self.arrives[piece] - (end - start)
        along = start + s * (end - start) + s * (1.0 - s) * ((1.0 - s) * bend_out - s * bend_in)
        along = np.where(self.held[piece], start, along)
        return np.where(s == 0.0, start, np.where(s == 1.0, end, along))


def curve_of_keys(times: Sequence[float], values: Sequence[float], kinds: Sequence[Interpolation]) -> Curve:
    """The curve through keys at rising `times`; `kinds` (k,) say how each goes on to the next, the last is not used.

    >>> curve_of_keys([0, 1, 2], [0, 1, 0], ["linear", "hold", "hold"]).at([0.25, 1.5, 2.0]).tolist()
    [0.25, 1.0, 0.0]
    """
    at, held = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    straight = np.diff(held) / np.diff(at)
    leaves, arrives = straight.copy(), straight.copy()
    first = 0
    while first < len(at) - 1:
        last = first
        while last < len(at) - 1 and kinds[last] == "smooth":
            last += 1
        if last > first + 1:  # through two keys the monotone cubic is the straight line
            slopes = _monotone_slopes(at[first : last + 1], held[first : last + 1])
            leaves[first:last], arrives[first:last] = slopes[:-1], slopes[1:]
        first = max(last, first + 1)
    return Curve(at, held, leaves, arrives, np.array([kind == "hold" for kind in kinds[:-1]], dtype=bool))


def curve_of_track(track: WeightTrack) -> Curve:
    """The curve of a weight in a file of animation."""
    straight = np.diff(track.values) / np.diff(track.times)
    held = np.full(len(straight), track.between == "hold")
    if track.between == "cubic" and track.slopes_in is not None and track.slopes_out is not None:
        return Curve(track.times, track.values, track.slopes_out[:-1], track.slopes_in[1:], held)
    return Curve(track.times, track.values, straight, straight, held)


def _monotone_slopes(times: NDArray, values: NDArray) -> NDArray[np.float64]:
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(times, values).derivative()(times), dtype=np.float64)
