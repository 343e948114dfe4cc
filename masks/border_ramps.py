"""Soft borders of regions; each border has its own ramp, as wide as the falloff of the motion across it.

Across a border a shape's motion goes from the level of one side to that of the other. The width of this falloff is its
range divided by its steepest slope. A mask that changes over the same width adds no crease of its own.
Where two regions meet, each has smoothstep(1/2 + (away_b - away_a) / (2 R)), where R is half of the border's ramp and
away the distance along the surface. Of more than two the smallest counts, and they are scaled to sum to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats
from masks.soften import smoothstep

CAP = 0.9
"""The largest half ramp, as a fraction of the width (square root of the area) of the smaller region beside it. A wider
ramp would leave no place where a region has the weight 1. Chosen on the real library: with 0.5 some recipes flip faces,
with 0.9 they do not.
"""
BINS = 28
"""The number of bins for the profile of motion across a border, over the whole reach. A design choice, no source."""
NEAR = 0.12
"""The steepest slope is searched within this fraction of the face's width of the border. A design choice, no source."""
TELLING = 4
"""The ramp is the median falloff of this many shapes that differ most across the border. A design choice, no source."""
FEWEST = 12
"""The least number of vertices beside a border for measuring its motion. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Territories:
    """The `vertices` (j,) of each of k regions; `away` (k, n) the distance from each in mm, at most `reach`; `owner`
    (n,) the region of each vertex, -1 for none; `mirror` (k,) the mirror image of each region, and `partner` (n,) that
    of each vertex, None for an asymmetric mesh.
    """

    vertices: list[NDArray[np.int64]]
    away: Floats
    owner: NDArray[np.int64]
    mirror: NDArray[np.int64]
    partner: NDArray[np.int64] | None
    reach: float


def half_ramps(
    ground: Territories, amounts: Floats, mass: Floats, floor_mm: float, width_mm: float, softness: float = 1.0
) -> Floats:
    """(k, k) half the ramp between each two regions in mm, symmetric between the sides; 0 where they do not meet.

    `amounts` (s, n) mm, `mass` (n,) mm^2, `softness` times the motion's own falloff; never below `floor_mm`.
    """
    k = len(ground.vertices)
    most = widest(ground, mass, floor_mm)
    size = np.maximum(np.sqrt((amounts**2) @ mass), 1e-9)
    half = np.zeros((k, k))
    for a in range(k):
        for b in range(a):
            falloff = _falloff(ground, a, b, amounts, mass, size, width_mm)
            if falloff is not None:
                half[a, b] = half[b, a] = np.clip(softness * falloff, floor_mm, most[a, b])
    image = half[ground.mirror][:, ground.mirror]
    return np.where((half > 0) & (image > 0), 0.5 * (half + image), np.maximum(half, image))


def widest(ground: Territories, mass: Floats, floor_mm: float) -> Floats:
    """(k, k) the largest half ramp allowed between two regions in mm; never below `floor_mm`."""
    widths = np.sqrt([mass[vertices].sum() for vertices in ground.vertices])
    return np.maximum(floor_mm, np.minimum(CAP * np.minimum(widths[:, None], widths), ground.reach))


def _falloff(
    ground: Territories, a: int, b: int, amounts: Floats, mass: Floats, size: Floats, width_mm: float
) -> float | None:
    """The width in mm of the falloff of motion across a border; None where two regions do not meet."""
    away_a, away_b = ground.away[a], ground.away[b]
    beside = (ground.owner == a) | (ground.owner == b)
    beside &= np.maximum(away_a, away_b) < 0.99 * ground.reach
    at = np.flatnonzero(beside)
    if len(at) < FEWEST:
        return None
    signed = np.where(ground.owner[at] == a, -away_b[at], away_a[at])
    weight = mass[at]
    unlike = np.abs((amounts[:, at] * (weight * np.sign(signed))).sum(axis=1)) / size
    edges = np.linspace(-ground.reach, ground.reach, BINS + 1)
    cell = np.clip(np.digitize(signed, edges) - 1, 0, BINS - 1)
    area = np.bincount(cell, weight, BINS)
    known = np.flatnonzero(area > 0)
    middle = (0.5 * (edges[1:] + edges[:-1]))[known]
    if len(known) < 5:
        return None
    near = np.abs(middle) < NEAR * width_mm
    spans = []
    for shape in np.argsort(-unlike.round(9), kind="stable")[:TELLING]:
        level = np.bincount(cell, weight * amounts[shape, at], BINS)[known] / area[known]
        slope = np.abs(np.gradient(level, middle))
        steepest = float(slope[near].max() if near.any() else slope.max())
        if steepest > 0:
            spans.append(float(np.ptp(level)) / steepest)
    return float(np.median(spans)) if spans else None


def softened(ground: Territories, half: Floats, floor_mm: float) -> Floats:
    """(k, n) weights with ramps of half-widths `half` (k, k), or `floor_mm` where that is 0. They sum to 1 on all
    regions and fade to 0 beyond them over the same width.
    """
    k = len(ground.vertices)
    if floor_mm <= 0 and not half.any():
        return (ground.owner == np.arange(k)[:, None]).astype(np.float64)
    weights = np.ones(ground.away.shape)
    beyond = np.min(ground.away, axis=0)
    fade_mm = np.array([np.median(row[row > 0]) if (row > 0).any() else floor_mm for row in half])
    for a in range(k):
        for b in range(k):
            if a != b:
                ramp = half[a, b] if half[a, b] > 0 else floor_mm
                inward = (ground.away[b] - ground.away[a]) / (2.0 * ramp)
                np.minimum(weights[a], smoothstep(0.5 + inward), out=weights[a])
    total = weights.sum(axis=0)
    weights /= np.where(total > 1e-9, total, 1.0)
    weights *= smoothstep(1.0 - beyond[None] / fade_mm[:, None])
    return 0.5 * (weights + weights[ground.mirror][:, ground.partner]) if ground.partner is not None else weights
