"""The eyeballs: a ball of 12 mm with a cornea that stands 0.75 mm proud, and a slight ditch at its rim.

Rings about the gaze axis, closed in front by a small grid, open far behind, where no one looks. The half angle of
the cornea's rim, 29 degrees, makes an iris 11.7 mm across.
"""

from __future__ import annotations

import numpy as np

from composer.demo.body import Body, Rows
from composer.demo.field import EYE, EYE_RADIUS
from composer.demo.layout import fill_loop
from composer.demo.uv import disk_uv

_RINGS_DEG = np.array([9.0, 15, 20.5, 25, 28.5, 32, 38, 50, 68, 90, 115, 140])
_AROUND = 24
CORNEA_DEG, CORNEA_MM = 29.0, 0.75


def _profile(angle_deg: Rows) -> Rows:
    """Distance from the centre at an angle from the gaze axis, mm."""
    bulge = CORNEA_MM * np.clip(1 - (angle_deg / CORNEA_DEG) ** 2, 0, 1)
    return EYE_RADIUS + bulge - 0.12 * np.exp(-(((angle_deg - CORNEA_DEG) / 3.0) ** 2))


def eyeball() -> Body:
    """The left eyeball about its centre `EYE`; its uv is the view along the gaze, unrolled."""
    start = -0.75 * np.pi
    azimuth = start + 2 * np.pi * np.arange(_AROUND) / _AROUND
    polar = np.repeat(_RINGS_DEG, _AROUND)
    around = np.tile(azimuth, len(_RINGS_DEG))
    count = len(polar)
    quads, fill = [], fill_loop(np.arange(_AROUND), 6, 6, count)
    for i in range(6):
        for k in range(6):
            quads.append((fill[i, k], fill[i + 1, k], fill[i + 1, k + 1], fill[i, k + 1]))
    for r in range(len(_RINGS_DEG) - 1):
        for s in range(_AROUND):
            t, a, b = (s + 1) % _AROUND, r * _AROUND, (r + 1) * _AROUND
            quads.append((a + s, b + s, b + t, a + t))
    inner = np.array([(i / 3 - 1, k / 3 - 1) for i in range(1, 6) for k in range(1, 6)])
    square = np.abs(inner).max(1)
    polar = np.concatenate([polar, _RINGS_DEG[0] * square])
    around = np.concatenate([around, np.arctan2(inner[:, 1], inner[:, 0])])
    away, t = _profile(polar), np.radians(polar)
    out = away * np.sin(t)
    points = np.stack([out * np.cos(around), out * np.sin(around), away * np.cos(t)], axis=1)
    array = np.array(quads, dtype=np.int64)
    return Body(EYE + points, array, np.arange(len(points)), disk_uv(array, points))
