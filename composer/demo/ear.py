"""The left ear: rings of 24 points from the skin round it over its back and rim into the shell.

The outline is given in the ear's own plane (a backwards, b upwards, in mm about the tragus) and every ring is the
outline shrunk towards the shell and raised or sunk along the plane's normal: back, rim, helix, the trough inside it
(scapha), antihelix, the edge and the floor of the concha. Point 0 is the tragus, 6 the top, 12 the back, 18 the lobe.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.field import Field
from composer.demo.layout import Layout
from composer.demo.primitives import rise

COUNT = 24
_OUTLINE = np.array([
    (-2,-6),(-3,2),(-3,9),(-1,16.5),(2.5,23.5),(7.5,29),(13.5,31.5),(20,30.5),(26,27),(30,21),(32,14),(32,7),
    (30.5,0),(28.6,-6.5),(26.2,-13),(23.6,-19),(20.6,-24.6),(16.2,-27.6),(10.8,-29.0),(5.4,-28.4),(1.4,-25.2),(-0.6,-20.3),(-1.2,-15.5),
    (-1.6,-11),
], dtype=float)  # fmt: skip
_ROOT = np.array([
    (-7.5,-6),(-8.5,1.5),(-8,8),(-6,14),(-1.5,18.5),(4,20),(9,19.5),(13.5,18),(17,15),(19,11),(20,6.5),(20,2),
    (19.5,-2.5),(18,-7),(15.5,-11),(12.4,-15.5),(9.4,-19.6),(6.8,-24.2),(2.8,-28.0),(-1.2,-28.8),(-4.8,-25.4),(-6.8,-19.8),
    (-7.8,-14.8),(-7.8,-10.4),
], dtype=float)  # fmt: skip
_CORNERS = (4, 8, 16, 20)  # of the hole in the grid
_SHELL = np.array([9.0, -3.0])
_TILT = np.radians(12.0)

Rows = NDArray[np.float64]


class _Frame:
    """The ear's plane: its origin at the tragus, the directions backwards and upwards in it, and its normal."""

    def __init__(self, field: Field) -> None:
        self.origin = field.project(np.array([[74.0, -14.0, 1.0]]))[0] + np.array([0.5, 0, 0])
        up = np.array([0.17, np.cos(_TILT), -np.sin(_TILT)])
        flare = np.radians(field.character.ear_flare)
        back = np.array([np.sin(flare), -np.sin(_TILT) * 0.9, -np.cos(flare)])
        up, back = up / np.linalg.norm(up), back / np.linalg.norm(back)
        out = np.cross(up, back)
        self.axes = np.stack([back, up])
        self.out = out if out[0] > 0 else -out
        self.size = field.character.ear
        self.outline = _OUTLINE - _SHELL

    def ring(self, scale: Rows | float, height: Rows | float, shift: Rows | None = None) -> Rows:
        """(24, 3): the outline scaled towards the shell, `height` mm above the plane, shifted within it (24, 2)."""
        flat = (_SHELL + self.outline * np.broadcast_to(scale, COUNT)[:, None]) * self.size
        if shift is not None:
            flat = flat + shift
        return self.origin + flat @ self.axes + np.broadcast_to(height, COUNT)[:, None] * self.out


def place_ear(field: Field, layout: Layout, positions: Rows) -> None:
    """Put the rings of the left ear inside its root, which stands already, and the grid that closes its shell."""
    frame = _Frame(field)
    s = np.arange(COUNT, dtype=np.float64)
    back_of = _OUTLINE[:, 0]
    near = np.where(s > 12, s - 24, s)
    helix = np.where(s < 12, rise(s, 1.5, 4.5), 1 - rise(s, 13.5, 16.5)) * (s <= 17)
    crest = np.where(s < 12, rise(s, 4, 7), 1 - rise(s, 15.5, 17)) * (s <= 17)
    tragus = np.exp(-(((near + 0.3) / 1.5) ** 2))
    antitragus = np.exp(-(((s - 18.0) / 1.4) ** 2))
    lobe = np.exp(-(((s - 18) / 2.2) ** 2))
    thick = np.exp(-(((s - 18.0) / 2.6) ** 2))  # the lobe
    foot = np.exp(-(((s - 16.5) / 3.0) ** 2))  # where the shell lies nearest to the head
    free = rise(back_of, 2, 16)
    lean = np.stack([tragus * 5.0, np.zeros(COUNT)], axis=1)

    gap = np.clip(field.distance(frame.ring(1.0, 0.0)) - 0.5 - 3.0 * lobe, -7, 6)
    gap *= np.exp(-(((near + 2.6) / 3.6) ** 4))
    sunk, raised = (frame.out * np.maximum(g, 0)[:, None] for g in (gap, -gap))
    low = free * (1 - 0.75 * rise(s, 12, 15.5))
    root = positions[layout.ear[1]]
    rim = frame.ring(0.985, 0.9 + 0.9 * helix + 1.2 * tragus - 0.4 * thick, lean * 0.45) - sunk * 0.95 + raised
    back = frame.ring(0.99, -1.8 * free - 0.3 + 1.2 * thick) - sunk + raised
    inner = 0.5 * root + 0.5 * (frame.ring(0.90, -4.5 * low) - sunk + raised)
    front = np.exp(-(((near + 1.9) / 4.2) ** 4))[:, None]
    back += (root + 0.72 * (rim - root) - back) * front
    inner += (root + 0.38 * (rim - root) - inner) * front
    plain = (1 - helix) * (1 - lobe) * (1 - tragus)
    rings = [
        root, inner, back, rim,
        frame.ring(0.90, 1.2 * helix + 0.8 + 4.0 * tragus, lean * 0.9),
        frame.ring(0.83 - 0.03 * helix, -2.6 * helix + 0.6 * lobe + 0.3 + 3.8 * tragus, lean * 1.15),
        frame.ring(0.70, -1.9 * helix * crest + 0.6 * lobe + 1.2 * tragus - 1.5 * plain, lean),
        frame.ring(
            0.57 + 0.05 * antitragus, 1.9 * crest + 3.2 * antitragus - 3.2 * (1 - crest) * (1 - antitragus), lean * 0.3
        ),
        frame.ring(0.42, -2.2 * crest - 1.5 * antitragus - 4.5 * (1 - crest) * (1 - antitragus) + 1.9 * foot),
        frame.ring(0.25, -6.5 + 2.2 * np.exp(-(((s - 16.5) / 4.0) ** 2)) + 1.8 * foot, np.array([-1.5, 0.0])),
    ]  # fmt: skip
    for r, share in zip(range(4, 8), (0.85, 0.7, 0.5, 0.3), strict=True):
        rings[r] = rings[r] - sunk * share + raised
    rings[8] = rings[8] + 0.8 * raised
    rings[9] = rings[9] + 0.8 * raised
    for r, points in enumerate(rings, start=1):
        positions[layout.ear[r]] = points
    _close(layout, positions)


def place_ear_root(field: Field, layout: Layout, positions: Rows) -> None:
    """Put the ring along which the ear grows out of the head, and the grid's own loop round it, on the skin."""
    frame = _Frame(field)
    along = np.roll(_ROOT, -1, axis=0) - np.roll(_ROOT, 1, axis=0)
    out = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    out = np.where((out * (_ROOT - _ROOT.mean(0))).sum(1, keepdims=True) < 0, -out, out)
    wide = np.full(COUNT, 5.0)
    wide[list(_CORNERS)] = 6.5
    for ring, flat in ((1, _ROOT), (0, _ROOT + out * wide[:, None])):
        flat = flat * frame.size
        x, y, z = flat[:, 0] * 0.25, flat[:, 1] * np.cos(_TILT), -flat[:, 0] - flat[:, 1] * np.sin(_TILT)
        positions[layout.ear[ring]] = field.project(frame.origin + np.stack([x, y, z], axis=1))


def _close(layout: Layout, positions: Rows) -> None:
    fill = layout.ear_fill
    a, b = fill.shape[0] - 1, fill.shape[1] - 1
    at = positions[fill]
    for i in range(1, a):
        for k in range(1, b):
            u, w = i / a, k / b
            point = (1 - w) * at[i, 0] + w * at[i, b] + (1 - u) * at[0, k] + u * at[a, k]
            point -= (1 - u) * (1 - w) * at[0, 0] + u * (1 - w) * at[a, 0] + (1 - u) * w * at[0, b] + u * w * at[a, b]
            positions[fill[i, k]] = point
