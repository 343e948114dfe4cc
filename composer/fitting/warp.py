"""The map that landmarks alone give: a radial basis, chosen by how well it foretells landmarks that are left out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.spatial import cKDTree

from composer.fitting.align import Pairs
from composer.fitting.curves import resampled

Rows = NDArray[np.float64]
SPACING, CALM = 0.015, 0.24
ROUND = 0.01
"""Of the head's diagonal: how near to each other places of the curves are taken, how far from all of them the skin is
held, and the width at which the multiquadric turns."""


def warp(pairs: Pairs, skin: Rows, scale: float) -> tuple[Callable[[Rows], Rows], float]:
    """The map that the landmarks alone give, for pairs that are aligned already: a radial basis with a linear part
    through every point, and through places of the curves no nearer than `SPACING` (of `scale`) to each other. Where
    the `skin` (n, 3) lies further than `CALM` from all of them, places of it are held where they are: what landmarks
    of the face say of the neck or the back of the head is not to be carried on and on.

    Two bases are tried, the cubic one, best where landmarks are spread over the whole head, and a multiquadric (Hardy
    1971), which stays calm where there are none; the one is taken that foretells left-out landmarks better. With it
    comes how far off it foretells them, in the unit of the points; infinity where there are too few to leave one out.
    """
    sources, targets = [pairs.head], [pairs.sculpt]
    for here, there, _ in pairs.curves.values():
        sources.append(here)
        targets.append(resampled(there, here))
    source, target = np.concatenate(sources), np.concatenate(targets)
    kept: list[int] = []
    apart = np.full(len(source), np.inf)
    for i in range(len(source)):
        if apart[i] > (SPACING * scale if i >= len(pairs.names) else 1e-9 * scale):
            kept.append(i)
            apart = np.minimum(apart, np.linalg.norm(source - source[i], axis=1))
    held = _far_from(source[kept], skin, CALM * scale)
    chosen = np.concatenate([source[kept], held])
    shift = np.concatenate([(target - source)[kept], np.zeros_like(held)])
    flat = len(chosen) < 5 or np.linalg.svd(chosen - chosen.mean(0), compute_uv=False)[2] < 1e-3 * scale
    kinds: list[dict] = [{"kernel": "multiquadric", "epsilon": 1.0 / (ROUND * scale), "degree": 0 if flat else 1}]
    if not flat:
        kinds.append({"kernel": "cubic", "degree": 1})
    errors = [_left_out(chosen, shift, kind, len(pairs.names)) for kind in kinds] if len(kinds) > 1 else [np.inf]
    kernel = RBFInterpolator(chosen, shift, **kinds[int(np.argmin(errors))])
    return lambda points: points + kernel(points), float(min(errors))


def _far_from(known: Rows, skin: Rows, far: float) -> Rows:
    """(k, 3) places of the skin further than `far` from the known ones and from each other, the furthest first."""
    away = cKDTree(known).query(skin)[0]
    chosen: list[int] = []
    while len(skin) and away.max() > far:
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(skin - skin[chosen[-1]], axis=1))
    return skin[chosen]


def _left_out(places: Rows, shift: Rows, kind: dict, count: int) -> float:
    """Root mean square of how far each of the first `count` landmarks (at most 40, spread over them) is from where
    the others foretell it.
    """
    total = 0.0
    chosen = np.unique(np.linspace(0, count - 1, min(count, 40)).round().astype(int))
    for i in chosen:
        others = np.arange(len(places)) != i
        try:
            told = RBFInterpolator(places[others], shift[others], **kind)(places[[i]])
            total += float(((told - shift[i]) ** 2).sum())
        except np.linalg.LinAlgError:
            return float("inf")
    return float(np.sqrt(total / len(chosen)))
