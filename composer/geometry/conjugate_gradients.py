"""Conjugate gradients for a symmetric positive definite system with several right-hand sides.

Hestenes and Stiefel 1952, "Methods of conjugate gradients for solving linear systems", with a preconditioner (Saad
2003, "Iterative methods for sparse linear systems", section 9.2, from memory). All columns are one long vector: the
matrix may couple them, as planes couple the three coordinates of a point.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Product = Callable[[Floats], Floats]

ERROR = 1e-3
"""The residual, in the preconditioner's norm and as a share of the right-hand side's, at which the steps end (our
choice)."""


def conjugate_gradients(
    product: Product, right: Floats, start: Floats, precondition: Product, steps: int, error: float = ERROR
) -> tuple[Floats, int]:
    """The solution (n, k) of product(x) = `right` (n, k) from `start` (n, k), and the number of steps, at most `steps`.

    `product` and `precondition` are symmetric and positive definite over all n k numbers. Where rounding makes a step's
    curvature negative the best solution so far is returned. Raises nothing.

    >>> double = lambda x: 2.0 * x
    >>> solution, steps = conjugate_gradients(double, np.array([[4.0, 6.0]]), np.zeros((1, 2)), lambda r: r, 10)
    >>> solution.tolist(), steps
    ([[2.0, 3.0]], 1)
    """
    solution = start
    residual = right - product(solution)
    preconditioned = precondition(residual)
    direction, norm = preconditioned.copy(), float((residual * preconditioned).sum())
    first = float(np.sqrt(abs((right * precondition(right)).sum())))
    done = 0
    while done < steps and np.sqrt(abs(norm)) > error * first and first > 0:
        image = product(direction)
        curvature = float((direction * image).sum())
        if not curvature > 0:  # rounding: the matrix is no longer positive definite along this direction
            break
        length = norm / curvature
        solution = solution + length * direction
        residual = residual - length * image
        preconditioned = precondition(residual)
        next_norm = float((residual * preconditioned).sum())
        direction = preconditioned + (next_norm / norm) * direction
        norm = next_norm
        done += 1
    return solution, done
