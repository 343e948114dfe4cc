"""A part of the demo head while it is made: vertices, quads, the mirror of each vertex, and texture coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
MIRROR = np.array([-1.0, 1.0, 1.0])


@dataclass(frozen=True, eq=False)
class Body:
    """`positions` (n, 3) mm, `quads` (m, 4) turned outwards, `mirror` (n,), `uv` (m, 4, 2) in [0, 1]."""

    positions: Rows
    quads: Ints
    mirror: Ints
    uv: Rows


def both_halves(half: Rows, midline: NDArray[np.bool_]) -> tuple[Rows, Ints, Ints]:
    """A left half (n, 3) and its mirror image: positions (m, 3), the mirror map (m,), and (n,) each left vertex's
    partner. Vertices on the midline (n,) are shared and lie at x = 0.
    """
    n, others = len(half), int((~midline).sum())
    other = np.arange(n)
    other[~midline] = n + np.arange(others)
    both = np.zeros((n + others, 3))
    both[other] = half * MIRROR
    both[:n] = half
    both[:n][midline, 0] = 0.0
    mirror = np.zeros(n + others, dtype=np.int64)
    mirror[:n], mirror[other] = other, np.arange(n)
    return both, mirror, other


def mirrored(positions: Rows, quads: Ints, uv: Rows, midline: NDArray[np.bool_] | None = None) -> Body:
    """A body from its left half. Vertices on the midline are shared; the right half's uv lies beside the left's.

    The left half takes u in [0.5, 1], the right one [0, 0.5], mirrored.
    """
    mid = np.zeros(len(positions), dtype=bool) if midline is None else midline
    both, mirror, other = both_halves(positions, mid)
    left, right = uv.copy(), uv[:, ::-1].copy()
    left[..., 0] = 0.5 + 0.5 * left[..., 0]
    right[..., 0] = 0.5 - 0.5 * right[..., 0]
    return Body(both, np.concatenate([quads, other[quads][:, ::-1]]), mirror, np.concatenate([left, right]))


def joined(bodies: list[Body]) -> Body:
    """Several bodies as one; their uv lie in equal columns, one beside the other."""
    start = np.cumsum([0] + [len(b.positions) for b in bodies])
    uv = [(b.uv * np.array([1 / len(bodies), 1]) + np.array([i / len(bodies), 0])) for i, b in enumerate(bodies)]
    return Body(
        np.concatenate([b.positions for b in bodies]),
        np.concatenate([b.quads + s for b, s in zip(bodies, start[:-1], strict=True)]),
        np.concatenate([b.mirror + s for b, s in zip(bodies, start[:-1], strict=True)]),
        np.concatenate(uv),
    )
