"""Lashes: thin tapering strips that grow from the edge of a lid, fanning outwards and curving away from the eye."""

from __future__ import annotations

import numpy as np

from composer.demo.body import Body, Rows

_UPPER, _LOWER = 22, 15  # strands a lid


def lashes(edge: Rows, margin: Rows, centre: Rows, upper: bool, size: float = 1.0) -> Body:
    """The left eye's lashes on one lid, from its `edge` and `margin` rings (13, 3) between the corners.

    `centre` (3,) of the eyeball, in mm; `size` 1 is common, 6 mm above and 3 mm below.
    """
    count = _UPPER if upper else _LOWER
    along = np.linspace(1.2, 11.2, count)
    column = np.arange(len(edge))
    root = np.stack([np.interp(along, column, (0.45 * edge + 0.55 * margin)[:, k]) for k in range(3)], axis=1)
    step = np.stack([np.interp(along + 0.02, column, edge[:, k]) for k in range(3)], axis=1)
    here = np.stack([np.interp(along, column, edge[:, k]) for k in range(3)], axis=1)
    side = (step - here) / np.linalg.norm(step - here, axis=1, keepdims=True)
    out = root - centre
    out[:, 0] *= 0.45
    out /= np.linalg.norm(out, axis=1, keepdims=True)
    rise = np.array([0.0, 1.0 if upper else -1.0, 0.0])
    fan = np.clip((along - 5.5) / 6, -1, 1)[:, None] * np.array([1.0, 0, 0])
    uneven = 1 + 0.22 * np.sin(2.4 * np.arange(count) ** 1.1)[:, None]
    length = size * (6.0 if upper else 3.0) * (0.55 + 0.45 * np.sin(np.pi * (along - 0.4) / 12))[:, None] * uneven
    mid = root + length * (0.52 * out + 0.02 * rise + 0.20 * fan)
    tip = root + length * (0.78 * out + (0.52 if upper else 0.40) * rise + 0.48 * fan)
    root = root - 0.25 * out
    width = 0.24 if upper else 0.15
    rows = [(root, width), (mid, 0.75 * width), (tip, 0.18 * width)]
    points = np.stack([p + sign * w * side for p, w in rows for sign in (-1, 1)], axis=1).reshape(-1, 3)
    base = 6 * np.arange(count)
    quads = np.concatenate([np.stack([base + k, base + k + 1, base + k + 3, base + k + 2], axis=1) for k in (0, 2)])
    u = np.arange(count) / count
    uv = np.zeros((len(quads), 4, 2))
    for half in (0, 1):
        rows_uv = uv[half * count : (half + 1) * count]
        rows_uv[:, [0, 3], 0] = u[:, None]
        rows_uv[:, [1, 2], 0] = u[:, None] + 0.9 / count
        rows_uv[:, [0, 1], 1], rows_uv[:, [2, 3], 1] = half / 2, (half + 1) / 2
    return Body(points, quads, np.arange(len(points)), uv)
