"""The shape that opens the mouth: the one in which what lies face to face at rest is drawn apart most.

The distance is signed, so that lips pushed through each other do not count as parting.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.head.understand.facing import Facing, border_pairs, facing_pairs, joined
from composer.head.understand.motion import Motion

Floats = NDArray[np.float64]
REACH, EDGES = 0.012, 0.9
"""How far apart a pair may be at rest: this share of the skin's size, or this many of its median edges."""
MOVES = 2e-3
"""Of the skin's size: what moves less in every shape parts from nothing."""
TOP = 0.02
"""A shape's score is the mean over this share of the pairs that it parts most."""
LEAST = 0.012
"""Of the skin's size: a shape that parts less opens nothing."""


@dataclass(frozen=True, eq=False)
class Opening:
    """`shape` the index of the shape that opens most, None where none does; `scores` (s,) mm for every shape; the
    `pairs` that face each other at rest and `parted` (p,) mm how far that shape draws them apart.
    """

    shape: int | None
    scores: Floats
    pairs: Facing
    parted: Floats


def opening_of(motion: Motion) -> Opening:
    """The opening shape of a head, by what its shapes do to the skin."""
    head, size = motion.head, motion.size
    moving = motion.pieces.on_skin & (motion.furthest > MOVES * size)
    if not motion.count or not moving.any():
        moving = motion.pieces.on_skin
    edges = head.polygons.edges[moving[head.polygons.edges].all(axis=1)]
    length = np.linalg.norm(head.neutral[edges[:, 0]] - head.neutral[edges[:, 1]], axis=1)
    reach = max(REACH * size, EDGES * float(np.median(length)) if len(length) else 0.0)
    normals = head.surface.vertex_normals
    facing = facing_pairs(head.neutral, normals, np.flatnonzero(moving), reach)
    pairs = joined(facing, border_pairs(head.polygons, head.neutral, moving, reach))
    if not len(pairs) or not motion.count:
        return Opening(None, np.zeros(motion.count), pairs, np.zeros(len(pairs)))
    top = max(10, int(TOP * len(pairs)))
    scores, best, parted = np.zeros(motion.count), -1.0, np.zeros(len(pairs))
    for i in range(motion.count):
        delta = motion.shape(i)
        apart = drawn_apart(pairs, delta)
        scores[i] = float(np.sort(apart)[-top:].mean())
        if scores[i] > best:
            best, parted = scores[i], apart
    shape = int(np.argmax(scores))
    return Opening(shape if scores[shape] > LEAST * size else None, scores, pairs, parted)


def drawn_apart(pairs: Facing, delta: Floats) -> Floats:
    """(p,) mm by which a displacement (n, 3) draws each pair apart; negative where it pushes them together."""
    way = delta[pairs.b] - delta[pairs.a]
    along = np.einsum("ij,ij->i", way, pairs.way)
    return np.where(pairs.coincident, np.linalg.norm(way, axis=1), along)
