"""Values in space through scattered places: a radial basis with a polynomial (Hardy 1971, "Multiquadric equations of
topography and other irregular surfaces"; Fasshauer 2007, "Meshfree approximation methods with MATLAB", chapter 6).

How well the others foretell each value is known from the factor of the whole, without solving anew for each (Rippa
1999, "An algorithm for selecting a good value for the parameter c in radial basis function interpolation", equation 17;
with a polynomial the same holds of the whole system, as the inverse of a matrix without a row and a column shows).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

Rows = NDArray[np.float64]


class RadialBasis:
    """The values (n, k) at `places` (n, 3), continued over space: -sqrt(1 + (r / `tip`)^2) of the distance r to each
    with a `tip` > 0, r^3 without; plus a polynomial of `degree` 0 or 1."""

    def __init__(self, places: Rows, values: Rows, tip: float | None = None, degree: int = 1) -> None:
        """Raises `numpy.linalg.LinAlgError` where places coincide or do not tell the polynomial: for degree 1 where
        they lie in one plane."""
        self._places, self._tip, self._degree = places, tip, degree
        low, high = places.min(axis=0), places.max(axis=0)
        self._middle, self._half = 0.5 * (low + high), np.where(high > low, 0.5 * (high - low), 1.0)
        n, monomials = len(places), self._monomials(places)
        if np.linalg.matrix_rank(monomials) < monomials.shape[1]:
            raise np.linalg.LinAlgError("the places do not tell the polynomial")
        whole = np.zeros((n + monomials.shape[1],) * 2)
        whole[:n, :n], whole[:n, n:], whole[n:, :n] = self._kernel(places), monomials, monomials.T
        self._inverse = np.linalg.inv(whole)
        right = np.concatenate([values, np.zeros((monomials.shape[1], values.shape[1]))])
        self._amounts = self._inverse @ right
        self._amounts += self._inverse @ (right - whole @ self._amounts)

    def __call__(self, points: Rows) -> Rows:
        """(m, k) the values at `points` (m, 3)."""
        return np.concatenate([self._kernel(points), self._monomials(points)], axis=1) @ self._amounts

    def left_out(self, some: NDArray) -> Rows:
        """(s, k) what the others foretell of each of `some` places (s,), less its value. Numbers are infinite or not
        numbers where the others alone do not tell the polynomial."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return -self._amounts[some] / self._inverse.diagonal()[some, None]

    def _kernel(self, points: Rows) -> Rows:
        away = cdist(points, self._places)
        return away**3 if self._tip is None else -np.sqrt(1.0 + (away / self._tip) ** 2)

    def _monomials(self, points: Rows) -> Rows:
        one = np.ones((len(points), 1))
        return one if self._degree == 0 else np.concatenate([one, (points - self._middle) / self._half], axis=1)
