"""Crowns, gums and tongue. Crowns stand on an elliptic arch and are as wide as those of adults.

Crown widths in mm from the midline back, upper 8.4, 6.6, 7.6, 7.0, 6.8, 9.5, 9.0, lower 5.4, 5.9, 6.8, 7.0, 7.0, 10,
after common dental anatomy (from memory). Each crown is an open box, rounded, its open end in the gum.
"""

from __future__ import annotations

import numpy as np

from composer.demo.body import Body, Ints, Rows, joined, mirrored
from composer.demo.uv import disk_uv

_UPPER = [8.4, 6.6, 7.6, 7.0, 6.8, 9.5, 9.0]
_LOWER = [5.4, 5.9, 6.8, 7.0, 7.0, 10.0]
_HEIGHT = [1.0, 0.93, 1.0, 0.9, 0.88, 0.85, 0.8]


def _box(nx: int, ny: int, nz: int) -> tuple[Rows, Ints]:
    """The surface of a box in [-1, 1], open at y = -1, as quads turned outwards."""
    index: dict[tuple[int, int, int], int] = {}
    quads: list[tuple[int, int, int, int]] = []

    def at(i: int, j: int, k: int) -> int:
        return index.setdefault((i, j, k), len(index))

    for i in range(nx):
        for j in range(ny):
            quads.append((at(i, j, nz), at(i + 1, j, nz), at(i + 1, j + 1, nz), at(i, j + 1, nz)))
            quads.append((at(i, j, 0), at(i, j + 1, 0), at(i + 1, j + 1, 0), at(i + 1, j, 0)))
        for k in range(nz):
            quads.append((at(i, ny, k), at(i, ny, k + 1), at(i + 1, ny, k + 1), at(i + 1, ny, k)))
    for j in range(ny):
        for k in range(nz):
            quads.append((at(nx, j, k), at(nx, j + 1, k), at(nx, j + 1, k + 1), at(nx, j, k + 1)))
            quads.append((at(0, j, k), at(0, j, k + 1), at(0, j + 1, k + 1), at(0, j + 1, k)))
    places = np.array(list(index), dtype=float)
    return 2 * places / np.array([nx, ny, nz]) - 1, np.array(quads, dtype=np.int64)


def _crowns(widths: list[float], arch: tuple[float, float, float], gum_y: float, bite_y: float, depth: float) -> Body:
    """The crowns of one jaw on the arch x = a sin t, z = back + b cos t, from the gum to the biting edge."""
    a, back, b = arch
    t = np.linspace(0, 1.5, 400)
    length = np.concatenate([[0], np.cumsum(np.hypot(np.diff(a * np.sin(t)), np.diff(b * np.cos(t))))])
    box, quads = _box(2, 2, 2)
    box_uv = disk_uv(quads, box)
    along, bodies = 0.0, []
    for i, width in enumerate(widths):
        turn = np.interp(along + width / 2, length, t)
        along += width
        centre = np.array([a * np.sin(turn), 0, back + b * np.cos(turn)])
        tangent = np.array([a * np.cos(turn), 0, -b * np.sin(turn)])
        tangent /= np.linalg.norm(tangent)
        normal = np.array([-tangent[2], 0, tangent[0]])
        up = (box[:, 1] + 1) / 2
        round_off = 1 - 0.10 * (box[:, 0] ** 2) * (box[:, 2] ** 2)
        molar = i >= 4
        thick = depth * (1.08 if molar else 1.0) * (1 - (0.15 if molar else 0.62) * up**1.2)
        half = width / 2 * (0.97 + 0.17 * np.sqrt(up)) * round_off  # subdivision draws it in by a tenth
        points = centre + np.outer(box[:, 0] * half, tangent)
        points += np.outer(box[:, 2] * thick / 2 * round_off + 0.5 * (up - 0.4), normal)
        edge = 0.25 * (box[:, 0] ** 2) * up**2 * np.sign(gum_y - bite_y)
        points[:, 1] = gum_y + (bite_y - gum_y) * up * _HEIGHT[i] + edge
        turned = quads if bite_y > gum_y else quads[:, ::-1]
        uv = box_uv if bite_y > gum_y else box_uv[:, ::-1]
        bodies.append(Body(points, turned, np.arange(len(points)), uv))
    half_jaw = joined(bodies)
    return mirrored(half_jaw.positions, half_jaw.quads, half_jaw.uv)


def _gum(arch: tuple[float, float, float], middle_y: float, depth: float, tall: float) -> Body:
    """A tube along the arch into which the crowns are set."""
    a, back, b = arch
    sections, around = 11, 8
    turn = np.linspace(0, 1.46, sections)
    ring = 2 * np.pi * np.arange(around) / around
    centre = np.stack([a * np.sin(turn), np.full(sections, middle_y), back + b * np.cos(turn)], axis=1)
    normal = np.stack([b * np.sin(turn), 0 * turn, a * np.cos(turn)], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    points = centre[:, None] + np.cos(ring)[None, :, None] * depth * normal[:, None]
    points[..., 1] += tall * np.sin(ring)
    quads, uv = [], []
    for i in range(sections - 1):
        for k in range(around):
            m = (k + 1) % around
            quads.append((i * around + k, (i + 1) * around + k, (i + 1) * around + m, i * around + m))
            u0, u1, v0, v1 = i / (sections - 1), (i + 1) / (sections - 1), k / around, (k + 1) / around
            uv.append([(u0, v0), (u1, v0), (u1, v1), (u0, v1)])
    flat = points.reshape(-1, 3)
    midline = np.zeros(len(flat), dtype=bool)
    midline[:around] = True
    return mirrored(flat, np.array(quads), np.array(uv), midline)


def crowns(upper: bool, front_mm: float) -> Body:
    """The crowns of one jaw; `front_mm` moves them forwards with the lips of the character."""
    z = 69.0 + front_mm
    if upper:
        return _crowns(_UPPER, (24.3, z - 17, 35.3), -61.0, -73.4, 6.2)
    return _crowns(_LOWER, (22.0, z - 17, 32.8), -83.2, -71.4, 5.6)


def gum(upper: bool, front_mm: float) -> Body:
    """The gum of one jaw, into which its crowns are set."""
    z = 69.0 + front_mm
    if upper:
        return _gum((23.5, z - 17, 34.4), -59.6, 5.0, 5.6)
    return _gum((21.2, z - 17, 31.9), -83.9, 4.7, 5.0)


def tongue(front_mm: float) -> Body:
    """The tongue, lying behind the lower teeth, open at its root, with a groove along its middle."""
    box, quads = _box(6, 8, 2)
    box = box[:, [0, 2, 1]] * np.array([1, -1, 1])  # the open end becomes the back
    quads = quads.copy()
    sphere = box * np.abs(box).max(1, keepdims=True) / np.maximum(np.linalg.norm(box, axis=1, keepdims=True), 1e-9)
    round_ = 0.6 * sphere + 0.4 * box
    x, up, z = round_.T
    narrow = 1 - 0.30 * np.clip(z, 0, 1) ** 2
    groove = 1.1 * np.exp(-((x / 0.25) ** 2)) * (up > 0.3)
    y = -78.5 + up * 5.5 - groove - 2.2 * (z - 0.1) ** 2
    points = np.stack([x * 17 * narrow, y, 60 + front_mm + z * 23], axis=1)
    left = points[:, 0] > -1e-9
    keep = np.flatnonzero(left)
    number = np.full(len(points), -1)
    number[keep] = np.arange(len(keep))
    half = quads[left[quads].all(1)]
    used = number[half]
    centre = points[half].mean(1) - points.mean(0)
    normal = np.cross(points[half[:, 2]] - points[half[:, 0]], points[half[:, 3]] - points[half[:, 1]])
    if (centre * normal).sum() < 0:
        used = used[:, ::-1]
    return mirrored(points[keep], used, disk_uv(used, points[keep]), np.abs(points[keep, 0]) < 1e-9)
