"""Which regions a shape moves, so that a person finds shapes by the name of a region, such as "brow"."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head

SHARE = 1.0 / 3.0
"""A shape moves a region if its RMS movement there is at least this fraction of that in the region it moves most.
A design choice, no source.
"""


def moved_regions(
    head: Head, masks: Mapping[str, NDArray], said: Callable[[float], None] | None = None
) -> dict[str, tuple[str, ...]]:
    """{shape: names of the regions that it moves}, the region moved most first.

    `masks` {region: (n,)} in [0, 1]; nothing moves an empty region. `said` is called with the progress in [0, 1].
    """
    names = [name for name, mask in masks.items() if mask.any()]
    stacked = np.array([masks[name] for name in names], dtype=np.float32).reshape(len(names), head.n_vertices)
    weight = stacked.sum(axis=1)
    by_shape: dict[str, tuple[str, ...]] = {}
    for number, shape in enumerate(head.shapes):
        if said is not None:
            said(number / len(head.shapes))
        square = np.einsum("ij,ij->i", shape.delta, shape.delta, dtype=np.float32)
        moved = np.sqrt(stacked @ square / np.maximum(weight, 1e-12)) if names else np.zeros(0)
        at = np.flatnonzero((moved >= SHARE * moved.max(initial=0.0)) & (moved > 0.0))
        by_shape[shape.name] = tuple(names[i] for i in at[np.argsort(-moved[at], kind="stable")])
    return by_shape
