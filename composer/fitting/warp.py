"""The warp of a fit: a radial basis through the landmarks, chosen by how well it predicts landmarks left out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.fitting.align import Pairs
from composer.fitting.curves import resampled
from composer.fitting.radial_basis import RadialBasis

Rows = NDArray[np.float64]
# Shares of the head's diagonal, our choice.
SPACING = 0.015
"""Least distance between the places of curves that the warp goes through."""
CALM = 0.24
"""Skin further than this from every landmark is held where it is."""
ROUND = 0.01
"""Width of the multiquadric's rounded tip: about a landmark it is smooth over this length, beyond it linear."""
LEFT_OUT = 40
"""Most landmarks that are left out one by one to judge a basis; of more, these are spread over them (our choice)."""


def warp(pairs: Pairs, skin: Rows, scale: float) -> tuple[Callable[[Rows], Rows], float]:
    """The map through aligned landmark `pairs`: a radial basis with a linear part through every point, and through
    places of the curves at least SPACING times `scale` apart (`scale` is the head's diagonal in mm). Where the `skin`
    (n, 3) is further than CALM from all of them, some of its places are held: landmarks of the face do not extrapolate
    to the neck or the back of the head.

    Two bases are tried: the cubic one, best where landmarks cover the whole head, and a multiquadric (Hardy 1971),
    which extrapolates less. The one that predicts left-out landmarks better is taken. The second value is the root mean
    square error of that prediction, in mm; infinity where there are too few landmarks to leave one out. Raises nothing.
    """
    sources, targets = [pairs.head], [pairs.sculpt]
    for on_head, on_sculpt, _ in pairs.curves.values():
        sources.append(on_head)
        targets.append(resampled(on_sculpt, on_head))
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
    bases = [RadialBasis(chosen, shift, ROUND * scale, degree=0 if flat else 1)]
    if not flat:
        bases.append(RadialBasis(chosen, shift))
    errors = [_left_out(basis, len(pairs.names)) for basis in bases] if len(bases) > 1 else [np.inf]
    kernel = bases[int(np.argmin(errors))]
    return lambda points: points + kernel(points), float(min(errors))


def _far_from(known: Rows, skin: Rows, far: float) -> Rows:
    """(k, 3) places of the `skin` (n, 3) further than `far` from the `known` ones and from each other, the furthest
    first."""
    away = cKDTree(known).query(skin)[0]
    chosen: list[int] = []
    while len(skin) and away.max() > far:
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(skin - skin[chosen[-1]], axis=1))
    return skin[chosen]


def _left_out(basis: RadialBasis, count: int) -> float:
    """The root mean square error with which the others foretell the first `count` landmarks, LEFT_OUT of them at most.
    """
    chosen = np.unique(np.linspace(0, count - 1, min(count, LEFT_OUT)).round().astype(int))
    error = float(np.sqrt((basis.left_out(chosen) ** 2).sum() / len(chosen)))
    return error if np.isfinite(error) else float("inf")
