"""Random edge flips of a triangle mesh, in rounds of edges that do not touch each other, where triangles stay sound."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
_LEAST_SINE = 0.34
"""Least sine of the smallest angle after a flip: 20 degrees (our choice)."""
_LEAST_COSINE = 0.975
"""Least cosine between the normals before and after a flip: 13 degrees (our choice)."""


def flip_at_random(triangles: Ints, at: Rows, rng: np.random.Generator, rounds: int) -> Ints:
    """Triangles (t, 3) over points (n, 3) after `rounds` of random flips; borders and sharp places stay."""
    triangles = triangles.copy()
    for _ in range(rounds):
        one, two, a, b, c, d = _pairs(triangles, len(at))
        first, second = np.stack([c, a, d], axis=1), np.stack([d, b, c], axis=1)
        before = _normals(at[triangles[one]]) + _normals(at[triangles[two]])
        before /= np.maximum(np.linalg.norm(before, axis=1, keepdims=True), 1e-12)
        sound = ~_joined(c, d, triangles, len(at))
        for new in (first, second):
            points = at[new]
            sound &= (_normals(points) * before).sum(1) > _LEAST_COSINE
            sound &= _least_sine(points) > _LEAST_SINE
        priority = np.where(sound, rng.random(len(one)), 0.0)
        top = np.zeros(len(triangles))
        np.maximum.at(top, one, priority)
        np.maximum.at(top, two, priority)
        go = (priority > 0) & (priority == top[one]) & (priority == top[two])
        triangles[one[go]], triangles[two[go]] = first[go], second[go]
    return triangles


def _pairs(triangles: Ints, n: int) -> tuple[Ints, Ints, Ints, Ints, Ints, Ints]:
    """Every inner edge once: its triangles, its ends a to b as the first runs, and the corners across, c and d."""
    a, b = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    across = np.roll(triangles, -2, axis=1).ravel()
    key = np.minimum(a, b) * n + np.maximum(a, b)
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    i, j = order[same], order[same + 1]
    return i // 3, j // 3, a[i], b[i], across[i], across[j]


def _joined(c: Ints, d: Ints, triangles: Ints, n: int) -> NDArray[np.bool_]:
    """Whether c and d are the ends of an edge already."""
    a, b = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    known = np.unique(np.minimum(a, b) * n + np.maximum(a, b))
    asked = np.minimum(c, d) * n + np.maximum(c, d)
    found = np.minimum(np.searchsorted(known, asked), len(known) - 1)
    return known[found] == asked


def _normals(points: Rows) -> Rows:
    n = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    return n / np.maximum(np.linalg.norm(n, axis=1, keepdims=True), 1e-12)


def _least_sine(points: Rows) -> Rows:
    """(t,) the sine of the smallest angle of triangles (t, 3, 3)."""
    side = np.linalg.norm(np.roll(points, -1, axis=1) - points, axis=2)
    double = np.linalg.norm(np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0]), axis=1)
    ordered = np.sort(side, axis=1)
    return double / np.maximum(ordered[:, 1] * ordered[:, 2], 1e-12)
