"""The plane that mirrors a head best, found from its skin alone.

Starting from the file's axes and the skin's principal axes, each point is reflected and paired with the nearest one;
the plane that the pairs agree on is found again and again, the worst three tenths left out, as in iterated closest
points (Besl and McKay 1992). A parted fringe, an ear that is bent or a lopsided mouth is among those left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
SAMPLE, ROUNDS, KEPT = 900, 14, 0.7
AWAY = 0.05
"""Of the skin's longest side: pairs nearer to each other than that say nothing of the plane's direction."""
GOOD = 2e-3
"""Of the skin's size: a plane that leaves less is taken without trying further starts."""


@dataclass(frozen=True, eq=False)
class Midline:
    """A plane: `normal` (3,) unit, `offset` mm along it, and what seven tenths of the skin miss it by, mm."""

    normal: Floats
    offset: float
    off_mm: float

    def reflected(self, points: Floats) -> Floats:
        """(k, 3) points mirrored in the plane."""
        return points - 2.0 * (points @ self.normal - self.offset)[:, None] * self.normal


def midline_of(points: Floats) -> Midline:
    """The mirror plane of a skin's points (k, 3) mm. With fewer than ten points, the plane x = 0."""
    if len(points) < 10:
        return Midline(np.array([1.0, 0.0, 0.0]), 0.0, 0.0)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    centre = points.mean(axis=0)
    tree = cKDTree(points)
    some = points[np.random.default_rng(0).permutation(len(points))[:SAMPLE]]
    axes = np.linalg.svd(points[:: max(1, len(points) // 4000)] - centre, full_matrices=False)[2]
    best: Midline | None = None
    for number, start in enumerate([*np.eye(3), *axes]):
        if number == 3 and best is not None and best.off_mm < GOOD * size:
            break
        found = _settled(points, tree, some, start, float(start @ centre))
        if best is None or found.off_mm < best.off_mm - 1e-9:
            best = found
    assert best is not None
    return best


def _settled(points: Floats, tree: cKDTree, some: Floats, normal: Floats, offset: float) -> Midline:
    longest = float(np.ptp(points, axis=0).max())
    error = np.inf
    for _ in range(ROUNDS):
        mirrored = some - 2.0 * (some @ normal - offset)[:, None] * normal
        distance, partner = tree.query(mirrored)
        kept = distance <= np.quantile(distance, KEPT)
        middle, across = (points[partner] + some) / 2.0, (points[partner] - some)[kept]
        far = np.linalg.norm(across, axis=1) > AWAY * longest
        if int(far.sum()) < 10:
            break
        before, error = error, float(np.quantile(distance, KEPT))
        turned = np.linalg.eigh(across[far].T @ across[far])[1][:, -1]
        normal = turned if turned @ normal >= 0 else -turned
        offset = float(np.median((middle @ normal)[kept]))
        if abs(before - error) < 1e-4 * error:
            break
    mirrored = some - 2.0 * (some @ normal - offset)[:, None] * normal
    return Midline(normal, offset, float(np.quantile(tree.query(mirrored)[0], KEPT)))
