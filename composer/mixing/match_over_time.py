"""Weights over time: frame by frame, or smooth, as one quadratic over a window of frames.

With G the Gram matrix of the cells and c_t what frame t gives them (`composer.mixing.match`), the smooth weights are
the least of

    sum over t of x_t'G x_t / 2 - c_t'x_t + sum over cells i and t of p_ti / 2 (second difference of x_i at t)^2

within their bounds (Whittaker 1923, "On a New Method of Graduation": least squares with a penalty on differences). The
bounds are part of the problem: nothing is filtered afterwards. Its matrix has bands of twice the number of cells, so
Newton steps are banded Cholesky factors, and the time grows with the number of frames. A long take is solved window by
window: each sees some frames ahead, keeps those before, and goes on from the last two that were kept. What lies further
ahead has died away (the penalty's Green's function falls off exponentially).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import scipy.linalg as la
from numpy.typing import NDArray

from composer.mixing.match import RIDGE
from composer.mixing.match_bounded import Floats, Quadratic, bounded

WINDOW, AHEAD = 96, 32
"""Frames that a window keeps, and those that it sees ahead (our choice: at a penalty of 400 times the cell's own
stiffness a frame 32 ahead counts e^-7)."""
MOST_PAIRS = 6_000_000
"""Pairs of cells in one frame, over all frames of a window: with more cells windows are shorter. It limits memory."""


@dataclass(frozen=True, eq=False)
class ScaledCells:
    """The normal equations of some cells, each scaled to length one: `gram` (k, k) with a ridge, `length` (k,) mm, and
    the bounds `low` and `high` (k,) of the scaled weights."""

    gram: Floats
    length: Floats
    low: Floats
    high: Floats

    @classmethod
    def of(cls, gram: NDArray, low: float, high: float) -> ScaledCells:
        """Cells whose Gram matrix is `gram` (k, k) mm^2, all lengths above zero."""
        length = np.sqrt(np.diagonal(gram))
        scaled = gram / length[:, None] / length
        scaled[np.diag_indices(len(scaled))] += RIDGE
        return cls(scaled, length, low * length, high * length)

    def _quadratic(self, c: Floats) -> Quadratic:
        def newton(free: NDArray[np.intp], g: Floats) -> Floats:
            part = self.gram if len(free) == len(self.gram) else self.gram[np.ix_(free, free)]
            step: Floats = la.cho_solve(la.cho_factor(part, lower=True, check_finite=False), g, check_finite=False)
            return step

        return Quadratic(lambda y: self.gram @ y, newton, c)

    def each_frame(self, c: Floats, start: Floats | None = None, penalty: float = 0.0) -> Floats:
        """(f, k) the scaled weights of every frame by itself, of scaled `c` (f, k) mm. Each begins at the one before,
        or at `start` (f, k). `penalty`, mm, is taken from what every cell gains by weights above zero."""
        found = np.zeros_like(c)
        before = np.zeros(c.shape[1])
        for number, one in enumerate(c):
            begin = before if start is None else start[number]
            found[number] = before = bounded(self._quadratic(one - penalty), self.low, self.high, begin)
        return found

    def smooth(self, c: Floats, penalties: Floats, times: Floats, start: Floats) -> Floats:
        """(f, k) the scaled weights that are smooth over time, of scaled `c` (f, k) mm at `times` (f,) s, by a search
        from `start` (f, k). `penalties` (f - 2, k) weigh each squared second difference beside squared mm (no unit)."""
        found = np.array(start)
        for first, _, last in windows(len(c), len(self.gram)):
            before = found[max(first - 2, 0) : first]
            bends = second_differences(times)[first - len(before) : last - 2]
            part = _Window(self.gram, penalties[first - len(before) : last - 2], bends, before)
            held = last - first
            low, high = np.tile(self.low, held), np.tile(self.high, held)
            problem = part.quadratic(c[first:last])
            # what it sees ahead is where the next window begins its search
            found[first:last] = bounded(problem, low, high, found[first:last].ravel()).reshape(held, -1)
        return found


def windows(frames: int, cells: int) -> Iterator[tuple[int, int, int]]:
    """Windows over the frames: (first, number that is kept, end).

    >>> list(windows(100, 8)), list(windows(200, 8))
    ([(0, 100, 100)], [(0, 96, 128), (96, 104, 200)])
    """
    most = max(MOST_PAIRS // max(cells * cells, 1), 8)
    keep, ahead = (WINDOW, AHEAD) if most >= WINDOW + AHEAD else (3 * most // 4, most - 3 * most // 4)
    first = 0
    while first < frames:
        end = min(first + keep + ahead, frames)
        keeps = frames - first if end == frames else keep
        yield first, keeps, end
        first += keeps


def second_differences(times: NDArray) -> Floats:
    """(f - 2, 3) the second difference at each frame but the first and the last, as factors of three frames in a row.

    Of even times they are 1, -2, 1; of others those of the parabola through the three, times the mean step squared
    (the divided difference; Fornberg 1988).

    >>> second_differences(np.array([0.0, 1.0, 2.0, 3.0])).tolist()
    [[1.0, -2.0, 1.0], [1.0, -2.0, 1.0]]
    """
    step = np.diff(np.asarray(times, dtype=np.float64))
    if len(step) < 2:
        return np.zeros((0, 3))
    a, b = step[:-1], step[1:]
    even = float(np.mean(step)) ** 2
    return even * np.stack([2.0 / (a * (a + b)), -2.0 / (a * b), 2.0 / (b * (a + b))], axis=1)


class _Window:
    """The quadratic of one window of f frames; `before` (0 to 2, k) are the frames before it, which are settled, and
    `bends` (d, 3) the second differences over both, with their `penalties` (d, k)."""

    def __init__(self, gram: Floats, penalties: Floats, bends: Floats, before: Floats) -> None:
        self.gram, self.penalties, self.bends, self.before = gram, penalties, bends, before

    def quadratic(self, c: Floats) -> Quadratic:
        """The problem for scaled `c` (f, k), its variables frame by frame."""
        frames, k = c.shape
        ahead = len(self.before)
        pulled = np.array(c)  # what the settled frames pull
        for row, factors in enumerate(self.bends[:ahead]):
            settled = sum(factors[j] * self.before[row + j] for j in range(3) if row + j < ahead)
            for j in range(3):
                if row + j >= ahead:
                    pulled[row + j - ahead] -= self.penalties[row] * factors[j] * settled
        bands = self._bands(ahead + frames)[:, ahead:]

        def apply(y: Floats) -> Floats:
            x = y.reshape(frames, k)
            total = x @ self.gram
            total += bands[0] * x
            for off in (1, 2):
                along = bands[off][: frames - off]
                total[off:] += along * x[:-off]
                total[:-off] += along * x[off:]
            return total.ravel()

        entries = self._entries(bands, frames, k)

        def newton(free: NDArray[np.intp], g: Floats) -> Floats:
            place = np.full(frames * k, -1)
            place[free] = np.arange(len(free))
            rows, columns, values = entries
            r, s = place[rows], place[columns]
            used = (r >= 0) & (s >= 0)
            r, s, kept = r[used], s[used], values[used]
            wide = int((r - s).max(initial=0))
            matrix = np.zeros((wide + 1, len(free)))
            matrix[r - s, s] = kept
            step: Floats = la.solveh_banded(matrix, g, lower=True, overwrite_ab=True, check_finite=False)
            return step

        return Quadratic(apply, newton, pulled.ravel())

    def _entries(self, bands: Floats, frames: int, k: int) -> tuple[NDArray, NDArray, Floats]:
        """Rows, columns and values of the lower half of the matrix."""
        below = np.tril_indices(k)
        start = k * np.arange(frames)[:, None]
        values = np.tile(self.gram[below], (frames, 1))
        values[:, below[0] == below[1]] += bands[0]
        rows, columns, found = [(start + below[0]).ravel()], [(start + below[1]).ravel()], [values.ravel()]
        for off in (1, 2):
            if frames > off:
                at = (start[:-off] + np.arange(k)).ravel()
                rows.append(at + off * k)
                columns.append(at)
                found.append(bands[off][: frames - off].ravel())
        return np.concatenate(rows), np.concatenate(columns), np.concatenate(found)

    def _bands(self, frames: int) -> Floats:
        """(3, frames, k) D'PD of the penalties: its diagonal, and the two beside it."""
        bands = np.zeros((3, frames, len(self.gram)))
        for j in range(3):
            for i in range(j + 1):
                part = self.penalties * (self.bends[:, i] * self.bends[:, j])[:, None]
                bands[j - i, i : i + len(part)] += part
        return bands
