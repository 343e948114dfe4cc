"""Which regions a shape moves: by name, for a person who looks for "brow"."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head

SHARE = 1.0 / 3.0
"""A shape moves a region where it moves it by this share, root mean square, of the region that it moves most."""


def moved_regions(
    head: Head, masks: Mapping[str, NDArray], said: Callable[[float], None] | None = None
) -> dict[str, tuple[str, ...]]:
    """{shape: names of the regions that it moves}, the one that it moves most first.

    `masks` {region: (n,)} in [0, 1]; a region of no weight is moved by nothing. `said` is told the share done.
    """
    names = [name for name, mask in masks.items() if mask.any()]
    stacked = np.array([masks[name] for name in names], dtype=np.float32).reshape(len(names), head.n_vertices)
    weight = stacked.sum(axis=1)
    found: dict[str, tuple[str, ...]] = {}
    for number, shape in enumerate(head.shapes):
        if said is not None:
            said(number / len(head.shapes))
        square = np.einsum("ij,ij->i", shape.delta, shape.delta, dtype=np.float32)
        moved = np.sqrt(stacked @ square / np.maximum(weight, 1e-12)) if names else np.zeros(0)
        loud = np.flatnonzero((moved >= SHARE * moved.max(initial=0.0)) & (moved > 0.0))
        found[shape.name] = tuple(names[i] for i in loud[np.argsort(-moved[loud], kind="stable")])
    return found
