"""What a whole head did between two scans, taken out of a displacement, so that only what the face did is left.

The rigid motion is that of the part which does not deform, found by fitting all of the surface again and again while
what does not follow loses its say (iteratively reweighted least squares; the weight of Geman and McClure 1987,
"Statistical methods for tomographic image reconstruction", with the residual's median as the scale; the fit itself
after Kabsch 1976, "A solution for the best rotation to relate two sets of vectors").
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats

ROUNDS = 25
SETTLED = 1e-5
"""Of the surface's size: a fit that changes by less is the last."""
AT_REST = 1e-6
"""Of the surface's size: what moves less has not moved, and where more than half rests the head has kept still."""


def without_head_motion(positions: Floats, mass: Floats, delta: NDArray) -> Floats:
    """(n, 3) the displacement `delta` (n, 3) of `positions` (n, 3), all mm, less the head's own motion.

    `mass` (n,) is each vertex's area, 0 for what has no say (eyes, teeth). A shape in which more than half of the
    area is at rest comes back as it was.
    """
    moved = np.asarray(delta, dtype=np.float64)
    heard = np.flatnonzero(mass > 0)
    at, weight = positions[heard], mass[heard] / mass[heard].sum()
    centre = weight @ at
    at = at - centre
    size = float(np.sqrt(weight @ np.einsum("ij,ij->i", at, at)))
    away = np.sqrt(np.einsum("ij,ij->i", moved[heard], moved[heard]))
    if float(weight[away <= AT_REST * size].sum()) > 0.5:
        return moved
    target = at + moved[heard]
    say, turn, shift = weight, np.eye(3), np.zeros(3)
    for _ in range(ROUNDS):
        before = at @ turn.T + shift
        turn, shift = _rigid(at, target, say)
        left = target - at @ turn.T - shift
        square = np.einsum("ij,ij->i", left, left)
        scale = max(4.0 * float(np.median(square)), (AT_REST * size) ** 2)
        say = weight / (1.0 + square / scale) ** 2
        if float(np.abs(at @ turn.T + shift - before).max()) <= SETTLED * size:
            break
    every = positions - centre
    return (every + moved - shift) @ turn - every


def _rigid(at: Floats, target: Floats, say: Floats) -> tuple[Floats, Floats]:
    """The rotation (3, 3) and shift (3,) that carry `at` to `target`, both (m, 3), best by the weights `say` (m,)."""
    share = say / say.sum()
    from_, to = share @ at, share @ target
    u, _, vt = np.linalg.svd((at - from_).T @ ((target - to) * share[:, None]))
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt)) or 1.0])
    turn = (u @ flip @ vt).T
    return turn, to - turn @ from_
