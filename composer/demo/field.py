"""The head as a distance field: some thirty round bodies joined softly, then soft offsets for folds and hollows.

The field is written on |x|, so it is symmetric by construction. Its zero level is the skin without lids, lips, ears
and nostrils, which are placed ring by ring on top of it. It gives the calm surface between the features, heads of
other proportions by changing the numbers of a `Character`, and a second, unrelated meshing for the sculpts.

Sizes and places of the bodies were set by hand from adult head dimensions (ANSUR II, 2012; Farkas 1994).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import Character
from composer.demo.primitives import Distances, Points, bump, capsule, cut, ellipsoid, groove, join, logistic

EYE = np.array([32.0, 0.0, 69.0])  # centre of the left eyeball before the character's own proportions
EYE_RADIUS = 12.0
# the four corners of a tetrahedron: central differences with four samples instead of six
_CORNERS = np.array([[1.0, -1, -1], [-1, -1, 1], [-1, 1, -1], [1, 1, 1]])


class Field:
    """Distance to the skin of a character, in mm, negative inside."""

    def __init__(self, character: Character, sulcus: float = 3.6) -> None:
        """`sulcus` is the depth in mm of the groove between lower lip and chin."""
        self.character, self.sulcus = character, sulcus

    def distance(self, points: Points) -> Distances:
        """(m,) distance of the points (m, 3); a lower bound near the joins."""
        p = points.copy()
        p[:, 0] = np.abs(p[:, 0])
        d = self._skull(p)
        d = join(d, self._face(p), 18)
        d = join(d, self._brow(p), 16)
        d = join(d, self._mouth_floor(p), 16)
        d = join(d, self._neck(p), 19 + 18 * logistic(p[:, 2], -25, -12))
        d = self._orbit(p, d)
        d = self._nose(p, d)
        d = join(d, ellipsoid(p, EYE, (16.0, 14.1, 14.1)), 7)
        return d + self._folds(p)

    def gradient(self, points: Points, step: float = 0.06) -> Points:
        """(m, 3) gradient of the distance, by differences over `step` mm."""
        at = (points[None] + step * _CORNERS[:, None]).reshape(-1, 3)
        values = self.distance(at).reshape(4, -1)
        return (values.T @ _CORNERS) / (4 * step)

    def normals(self, points: Points) -> Points:
        """(m, 3) the gradient, of length 1."""
        g = self.gradient(points)
        return g / np.maximum(np.linalg.norm(g, axis=1, keepdims=True), 1e-9)

    def project(self, points: Points, steps: int = 10, level: Distances | float = 0.0) -> Points:
        """Points moved along the gradient onto the zero level (or each onto its own `level`), Newton's way."""
        p = points.copy()
        for _ in range(steps):
            g = self.gradient(p)
            move = ((self.distance(p) - level) / np.maximum((g**2).sum(1), 0.15))[:, None] * g
            length = np.linalg.norm(move, axis=1, keepdims=True)
            p -= move * np.minimum(1, 8 / np.maximum(length, 1e-9))
        return p

    def height(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> Distances:
        """(m,) z at which a ray from the front meets the skin at each (x, y)."""
        p = np.stack([x, y, np.full(len(x), 138.0)], axis=1)
        for _ in range(60):
            p[:, 2] -= np.clip(self.distance(p) * 0.7, -3, 6)
        return p[:, 2]

    def _skull(self, p: Points) -> Distances:
        c = self.character
        more = (c.head_length - 199) / 2
        d = ellipsoid(p, (0, 33, -11 - more), (c.head_breadth / 2 + 0.3, 79, 92 + more))
        return join(d, ellipsoid(p, (0, 42, 20 + c.forehead), (57, 60, 70)), 26)

    def _face(self, p: Points) -> Distances:
        c = self.character
        wide, jaw = (c.bizygomatic - 142) / 2, (c.bigonial - 116) / 2
        drop, out, malar = c.chin_drop, c.chin_forward, c.cheek_forward
        f = ellipsoid(p, (0, -42, 30), (57.5, 73, 58))
        f = join(f, ellipsoid(p, (39 + 0.8 * wide, -26, 50 + malar), (22, 18, 20), roll=-10), 20)
        f = join(f, capsule(p, (50 + 0.8 * wide, -21, 48 + 0.7 * malar), (59.5 + wide, -17, 2), 7.0, 7.5), 32)
        f = join(f, capsule(p, (52, 17, 54), (50, -14, 56), 8.5, 9), 18)
        f = join(f, capsule(p, (41 + jaw, -65, 8), (17 + 0.3 * jaw, -103 - drop, 67 + out), 12.5, 12), 18)
        f = join(f, capsule(p, (55 + 0.6 * wide, -25, 3), (41 + jaw, -65, 8), 11, 12), 14)
        f = join(f, ellipsoid(p, (31, -33, 62), (16, 15, 15)), 14)
        f = join(f, ellipsoid(p, (35 + 0.5 * c.flesh, -56, 50), np.array([16, 22, 22]) + 0.8 * c.flesh), 18)
        f = join(f, ellipsoid(p, (0, -105 - drop, 75.5 + out), (18, 15.5, 19)), 18)
        f = join(f, ellipsoid(p, (0, -70, 64.3), (35, 29, 39.5)), 14)
        return join(f, ellipsoid(p, (52, -33, 11), (14, 20, 22)), 24)

    def _brow(self, p: Points) -> Distances:
        out, drop = self.character.brow_forward, self.character.brow_drop
        peak = (27, 23.5 - drop, 76.5 + out)
        inner = capsule(p, (0, 16 - 0.3 * drop, 86 + 0.5 * out), peak, 9, 9)
        return join(inner, capsule(p, peak, (48, 15 - drop, 56.5 + 0.6 * out), 9, 7.5), 8)

    def _mouth_floor(self, p: Points) -> Distances:
        c = self.character
        return ellipsoid(p, (0, -103 - c.chin_drop, 38), (27 + c.flesh, 12.5 + 1.6 * c.flesh, 36), tilt=-9)

    def _neck(self, p: Points) -> Distances:
        q = p / np.array([1.14 * self.character.neck, 1, 1])
        n = capsule(q, (0, -55, -22), (0, -215, -33), 50.5, 54.5)
        if self.character.age:  # the edges of the muscle under the skin stand out
            n = join(n, capsule(p, (10, -112, 44), (15, -178, 18), 1.6 + 2.2 * self.character.age, 2.5), 7)
        side = 56 * self.character.head_breadth / 155
        n = join(n, capsule(p, (side, -38, -18), (9, -195, 20), 8, 7.5), 22)
        n = join(n, ellipsoid(p, (0, -138, 21), (9, 15, 9)), 14)
        return join(n, ellipsoid(p, (0, -232, -40), (120, 52, 56)), 30)

    def _orbit(self, p: Points, d: Distances) -> Distances:
        age = self.character.age
        d = join(d, capsule(p, (22, -14.5, 68), (42, -15, 63), 7.5, 7.5), 9)
        d = cut(d, ellipsoid(p, (34, 6.5, 87), (18, 8.5 + age, 10.5 + 2.2 * age)), 10)
        return join(d, capsule(p, (9, 18, 83), (7.5, -14, 80), 5.8, 5.0), 8)

    def _nose(self, p: Points, d: Distances) -> Distances:
        c = self.character
        wide, out, drop = (c.nose_breadth - 36) / 2, c.nose_forward, c.nose_drop
        s = capsule(p, (0, 7, 83.5), (0, -32 - 0.7 * drop, 107 + out), 5.6, 5.6)
        if c.nose_hump:
            s = join(s, ellipsoid(p, (0, -12, 95 + 0.4 * out + c.nose_hump), (6.5, 13, 6), tilt=-32), 8)
        s = join(s, capsule(p, (2.2, -4, 79.5), (7.2, -33, 94), 6.0, 6.0), 9)
        s = join(s, ellipsoid(p, (0, -37.6 - drop, 109.5 + out), np.array([8.6, 7.0, 9.6]) * c.nose_bulb), 6)
        s = join(s, capsule(p, (0, -44.8 - 0.5 * drop, 107 + 0.6 * out), (0, -49.0, 98), 3.8, 5.0), 5)
        s = join(s, ellipsoid(p, (11.9 + wide, -41.0, 98.0), (6.6, 7.2, 10), yaw=18), 3.2)
        soft = 4.5 + 6.5 * logistic(p[:, 1], -31, 4) - 2.5 * logistic(p[:, 1], -2, 5)
        return join(d, s, soft)

    def _folds(self, p: Points) -> Distances:
        c = self.character
        wide = (c.nose_breadth - 36) / 2
        d = bump(p, (0, -56.5, 102), (2.6, 6.5, 8)) - 0.5 * bump(p, (5.5, -56.5, 101), (2.2, 7.5, 8))
        d += self.sulcus * bump(p, (0, -89.0, 94), (15, 4.2, 14))
        d += c.temple_hollow * bump(p, (62, 20, 45), (14, 18, 20))
        d += (0.2 + c.cheek_hollow) * bump(p, (47, -62, 62), (10, 18, 16))
        d += c.fold * groove(p, [(20, -46, 90), (28, -60, 86), (32, -72, 80)], 4.0)
        d -= 0.45 * c.fold * bump(p, (33, -50, 78), (7, 9, 12))
        d += 0.5 * c.jowl * groove(p, [(31, -80, 80), (27, -94, 78)], 4.0)
        if c.age:  # below the corner of the mouth, and from the inner corner of the eye over the cheek
            d += 1.2 * c.age * groove(p, [(33, -83, 80), (29, -95, 76)], 3.2)
            d += 1.6 * c.age * groove(p, [(20, -17, 82), (33, -29, 78), (43, -33, 70)], 3.4)
        d -= c.jowl * bump(p, (40, -92, 55), (10, 10, 16))
        wing = [(14, -32.6, 100), (17.5, -34.4, 95), (20.8, -40.6, 89), (19.8, -45.6, 89.5)]
        d += 2.0 * groove(p - np.array([wide, 0, 0]), wing, 2.2)
        d += 3.3 * bump(p, (0, 2.5, 93), (9, 6, 9)) - 1.0 * bump(p, (16, -24, 86), (6, 9, 9))
        return d + 2.2 * bump(p, (17.0, -2, 79), (3.2, 4.5, 7))
