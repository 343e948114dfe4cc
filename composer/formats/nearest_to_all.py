"""The target of a library that is nearest to all others, and a doubt where the one called neutral is not.

With the inner products G of the displacements, the squared distance of two is G_ii + G_jj - 2 G_ij.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

DOUBT = 1.15
"""A neutral that is this many times further from the others than another target is doubted (our choice)."""
SAMPLE = 30_000
"""Coordinates that a doubt is judged by (our choice): enough for any head, and fast for hundreds of targets."""


def distances(deltas: Mapping[str, NDArray], every: int = 1) -> dict[str, float]:
    """For each target the sum of its RMS distances to all others, in the unit of `deltas` {name: (n, 3)}, which are
    displacements of one common mesh; `every` k takes one coordinate in k.
    """
    names = list(deltas)
    flat = [np.asarray(deltas[name]).reshape(-1)[::every] for name in names]
    gram = np.zeros((len(names), len(names)))
    step = max(1, 2**22 // max(1, len(names)))
    length = len(flat[0]) if flat else 0
    for low in range(0, length, step):
        block = np.stack([column[low : low + step] for column in flat]).astype(np.float64)
        gram += block @ block.T
    size = np.diag(gram)
    squared = np.maximum(size[:, None] + size[None, :] - 2 * gram, 0.0)
    total = np.sqrt(squared / max(length / 3.0, 1.0)).sum(axis=1)
    return dict(zip(names, total.tolist(), strict=True))


def nearest_to_all(deltas: Mapping[str, NDArray]) -> str:
    """The target whose summed RMS distance to all others is smallest, the first of equals."""
    total = distances(deltas)
    least = min(total.values())
    return next(name for name, far in total.items() if far <= least * (1 + 1e-12))


def doubt_of(chosen: str, deltas: Mapping[str, NDArray]) -> str:
    """A sentence where another target is clearly nearer to all the others than the one chosen; "" where none is."""
    if len(deltas) < 4:
        return ""
    size = next(iter(deltas.values())).size
    total = distances(deltas, max(1, size // SAMPLE) | 1)
    nearest = min(total, key=lambda name: total[name])
    if nearest == chosen or total[chosen] <= DOUBT * total[nearest]:
        return ""
    times = total[chosen] / max(total[nearest], 1e-300)
    return f"{nearest} is nearer to all others: {chosen} is {times:.1f} times as far from them"
