"""What moves with the jaw: the rigid motion of the lower teeth as the mouth opens, and how much of it a vertex has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.head.understand.motion import Motion
from composer.head.understand.opening import Opening
from composer.head.understand.rigid_fits import fit_rigid

Floats = NDArray[np.float64]
MOVES = 0.02
"""Of the skin's size: a jaw that opens moves its pieces at least so far, in the median of what moves with it."""
RIGID = 0.1
"""Of that motion: what may be left of it by a rigid fit."""
UPPER, LOWER, OVER = 0.25, 0.75, 1.3
"""Shares of the jaw's motion: below the first a vertex stands with the skull, from the second to the last it goes with
the jaw. A piece with vertices of both holds both jaws and is cut at the half.
"""
HALF = 0.5


@dataclass(frozen=True, eq=False)
class Jaw:
    """The jaw's rigid motion x -> turn x + shift in the opening shape `shape`."""

    shape: int
    turn: Floats
    shift: Floats

    def share(self, motion: Motion, vertices: NDArray) -> Floats:
        """(k,) how much of the jaw's motion each vertex has in the opening shape: 0 stands still, 1 is the jaw."""
        points = motion.head.neutral[vertices]
        jaw = points @ self.turn.T + self.shift - points
        own = _moved(motion, self.shape, vertices)
        return np.einsum("kx,kx->k", own, jaw) / np.maximum(np.einsum("kx,kx->k", jaw, jaw), 1e-12)


def jaw_of(motion: Motion, opening: Opening, candidates: Sequence[int]) -> Jaw | None:
    """The jaw's motion, from the pieces among `candidates` that move rigidly as the mouth opens; None where none does.

    Of a piece that holds both jaws only what moves with the lower one is fitted. Where the skin says of no shape that
    it opens the mouth, the shape that moves the candidates furthest is taken for it.
    """
    shape = opening.shape if opening.shape is not None else _furthest(motion, candidates)
    if shape is None:
        return None
    found: list[NDArray] = []
    for piece in candidates:
        vertices = motion.pieces.of[piece]
        far = np.linalg.norm(_moved(motion, shape, vertices), axis=1)
        carried = vertices[far > 0.5 * far.max()]
        if len(carried) < 4 or float(far.max()) < MOVES * motion.size:
            continue
        moved = _moved(motion, shape, carried)
        fit = fit_rigid(motion.head.neutral[carried], moved[None])
        usual = float(np.median(np.linalg.norm(moved, axis=1)))
        if usual > MOVES * motion.size and float(np.median(fit.residual[0])) < RIGID * usual:
            found.append(carried)
    if not found:
        return None
    vertices = np.concatenate(found)
    points, moved = motion.head.neutral[vertices], _moved(motion, shape, vertices)[None]
    first = fit_rigid(points, moved)
    scale = float(np.median(first.residual)) + 1e-4 * motion.size
    fit = fit_rigid(points, moved, 1.0 / (1.0 + (first.residual / scale) ** 2))
    return Jaw(shape, fit.turns[0], fit.shifts[0])


def _furthest(motion: Motion, candidates: Sequence[int]) -> int | None:
    if not candidates or not motion.count:
        return None
    held = [motion.pieces.of[piece] for piece in candidates]
    some = np.concatenate([vertices[:: max(1, len(vertices) // 8)] for vertices in held])
    moved = np.linalg.norm(motion.of(some), axis=2).max(axis=1)
    return int(np.argmax(moved)) if float(moved.max()) > MOVES * motion.size else None


def _moved(motion: Motion, shape: int, vertices: NDArray) -> Floats:
    return motion.one(shape, vertices)
