"""How often a head is subdivided before it is pictured: until an edge of its mesh is a few pixels long, and no more.

What lies between is smooth shading, which shows no facets; finer levels cost four times as much each and cannot be
seen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.head.head import Head
from composer.picture.render import Studio

EDGE_PIXELS = 7.0
"""Longest median edge in a picture (our choice, by eye on a head of 27,000 vertices in pictures 300 wide)."""
SMALL = 15_000
"""A head of fewer vertices is always pictured one level finer, so that its outline is round (our choice)."""
MOST_VERTICES = 600_000
"""Most vertices of a head made finer for a picture alone (our choice; some 2 GB)."""


def level_for(head: Head, size: tuple[int, int], shown: NDArray | None = None) -> int:
    """The level, 0 or more, at which a head is fine enough for pictures of `size` (width, height) in pixels that hold
    the points `shown` (k, 3) mm, or the whole head."""
    points = head.neutral if shown is None else np.asarray(shown, dtype=np.float64)
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    wide, tall = max(float(high[0] - low[0]), 1e-9), max(float(high[1] - low[1]), 1e-9)
    a, b = head.polygons.edges.T
    middle = 0.5 * (head.neutral[a] + head.neutral[b])
    here = ((middle >= low) & (middle <= high)).all(axis=1)
    lengths = np.linalg.norm(head.neutral[a] - head.neutral[b], axis=1)
    edge = float(np.median(lengths[here] if here.any() else lengths)) if len(lengths) else 0.0
    pixels = edge * min(size[0] / wide, size[1] / tall)
    level = 1 if head.n_vertices < SMALL else 0
    while pixels / 2**level > EDGE_PIXELS and head.n_vertices * 4 ** (level + 1) <= MOST_VERTICES:
        level += 1
    return level


def studio_for(
    head: Head, size: tuple[int, int], shown: NDArray | None = None, hidden: frozenset[str] = frozenset()
) -> Studio:
    """The studio of a head for pictures as `level_for` has them, without the parts named in `hidden`."""
    return Studio.of(head, level_for(head, size, shown), hidden=hidden)
