"""The lids and the socket: rings about the left eyeball, polar about its axis, so that the lids shut exactly.

Every column k = 0..12 from the inner to the outer corner has one x and, for each ring, one distance r from the
eyeball's left-right axis; the upper and the lower lid share both and differ only in their angle about that axis.
Turning both to a common angle therefore lays margin on margin with neither gap nor overlap, and since the three
margin rings (front, middle, back) then coincide too, so does their Catmull-Clark surface.

The distance from the eyeball's centre that each ring keeps is its clearance: the cornea stands 0.75 mm proud of a
ball of 12 mm, the back of the margin rides at 12.95 mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from composer.demo.character import Character
from composer.demo.field import EYE, Field
from composer.demo.layout import EYE_RINGS, Layout, ring
from composer.demo.primitives import rise

COUNT = 24  # points of a lid ring; 0 is the inner corner, 12 the outer one, 1..11 the upper lid
_HALF = 12
_BALL = {"edge": 14.35, "margin_front": 14.1, "margin_middle": 13.5, "margin_back": 12.95}
_OUTWARD = {"edge": 1.5, "margin_front": 0.9, "margin_middle": 0.35, "margin_back": 0.0}
_CORNER = np.array([1.0, 0.6, 0.25, 0.08, 0, 0, 0, 0, 0, 0.08, 0.25, 0.6, 1.0])
_BLENDS = {
    "outer": (0.74, 1.0), "middle": (0.50, 0.6), "fold": (0.36, 0.2), "crease": (0.27, 0.15), "tarsal": (0.17, 0.0),
}  # fmt: skip  # how far towards the orbit a ring starts, and how freely it may be eased

Rows = NDArray[np.float64]


class Lids:
    """The lid margins of a character in eye coordinates: x (13,), upper and lower angle (13,) in radians."""

    def __init__(self, character: Character) -> None:
        t = np.linspace(0, 1, _HALF + 1)
        along = 0.55 * t + 0.225 * (1 - np.cos(np.pi * t))
        self.x = -15.2 + character.eye_length * along
        base = -0.5 + character.eye_length * np.tan(np.radians(character.eye_tilt)) * (along - 0.5)
        droop = 1.0 * character.hood * np.exp(-(((along - 0.78) / 0.2) ** 2))
        up = 5.1 * character.aperture * np.sin(np.pi * along**0.92) ** 0.75 - droop * np.sin(np.pi * along)
        low = 4.7 * (0.5 + 0.5 * character.aperture) * np.sin(np.pi * along**1.15)
        low += character.lid_slack * np.sin(np.pi * along**1.6)
        r = self.radius("margin_middle")
        self.upper = np.arcsin((base + up) / r)
        self.lower = np.arcsin((base - low) / r)
        self.upper[[0, -1]] = self.lower[[0, -1]] = np.arcsin(base[[0, -1]] / r[[0, -1]])
        self.rise = np.sin(np.pi * t) ** 0.7

    def radius(self, name: str) -> Rows:
        """(13,) distance of a margin ring from the eyeball's left-right axis."""
        return self._radius(_BALL[name], self.x)

    @staticmethod
    def _radius(ball: float, x: Rows) -> Rows:
        tau = np.where(x < 0, 2.9, 6.0)
        past = np.maximum(np.abs(x) - 9, 0)
        reach = np.where(np.abs(x) > 9, 9 + tau * (1 - np.exp(-past / tau)), np.abs(x))
        return np.sqrt(np.maximum(ball**2 - reach**2, 1.0)) + 2.2 * np.exp(-0.5 * ((x + 15.5) / 1.6) ** 2)

    def ring(self, r: Rows, outward: float, open_upper: Rows | float, open_lower: Rows | float) -> Rows:
        """(24, 3) one ring from its radii (13,), the corners pushed `outward` mm, opened by so many degrees."""
        x = self.x + np.where(self.x < 0, -1, 1) * outward * _CORNER
        upper = self.upper + np.radians(open_upper) * self.rise
        lower = self.lower - np.radians(open_lower) * self.rise
        above = np.stack([x, r * np.sin(upper), r * np.cos(upper)], axis=1)
        below = np.stack([x, r * np.sin(lower), r * np.cos(lower)], axis=1)
        return EYE + np.vstack([above, below[1:-1][::-1]])

    def margin(self, name: str) -> Rows:
        """(24, 3) one of the margin rings or the edge beside it, in head coordinates."""
        opened = 1.2 if name == "edge" else 0.0
        return self.ring(self.radius(name), _OUTWARD[name], opened, opened)


def place_lids(character: Character, layout: Layout, positions: Rows, ease: Rows) -> None:
    """Put all eye rings: margins and socket where they stay, the rings outside them blended to the orbit."""
    lids = Lids(character)
    rings = layout.eye
    for name in ("edge", "margin_front", "margin_middle", "margin_back"):
        positions[rings[ring(EYE_RINGS, name)]] = lids.margin(name)
    _place_socket(lids, layout, positions)
    inner, outer = positions[rings[ring(EYE_RINGS, "edge")]], positions[rings[0]]
    for name, (towards, freedom) in _BLENDS.items():
        at = rings[ring(EYE_RINGS, name)]
        positions[at] = inner + (outer - inner) * towards
        ease[at] = freedom


def _place_socket(lids: Lids, layout: Layout, positions: Rows) -> None:
    """The back of the lids down to the socket, which runs behind the ball; the ball never meets a chord of it."""
    rings = layout.eye
    conjunctiva = lids.ring(lids._radius(12.85, lids.x), -0.5, 7.0, 7.0)
    fornix = lids.ring(lids._radius(13.2, lids.x), -0.9, 20.0, 20.0)
    margin = lids.margin("margin_back") - EYE
    pulls = {0: 1.0, 1: 0.85, 23: 0.85, 2: 0.5, 22: 0.5, 12: 1.0, 11: 0.6, 13: 0.6, 10: 0.25, 14: 0.25}
    floors = ((conjunctiva, 12.5, (-10.3, 6.8), (11.0, 5.6)), (fornix, 12.9, (-11.9, 4.0), (11.6, 1.5)))
    for points, ball, inner, outer in floors:
        for s, pull in pulls.items():
            x, z = inner if s in (0, 1, 2, 22, 23) else outer
            floor = np.array([x, margin[s, 1] * 0.85, z])
            points[s] += (EYE + floor * (ball / np.linalg.norm(floor)) - points[s]) * pull
    turn = np.pi - 2 * np.pi * np.arange(COUNT) / COUNT
    circle = np.stack([np.cos(turn), np.sin(turn), np.zeros(COUNT)], axis=1)
    positions[rings[ring(EYE_RINGS, "conjunctiva")]] = conjunctiva
    positions[rings[ring(EYE_RINGS, "fornix")]] = fornix
    ahead = 6.0 - 8.5 * rise(circle[:, 0], 0.3, 0.95)
    positions[rings[ring(EYE_RINGS, "socket")]] = EYE + 13.4 * circle + ahead[:, None] * np.array([0, 0, 1.0])
    positions[rings[ring(EYE_RINGS, "socket_back")]] = EYE + 14.6 * circle + np.array([0, 0, -4.0])
    fill = layout.eye_fill
    for i in range(1, fill.shape[0] - 1):
        for k in range(1, fill.shape[1] - 1):
            u, w = i / (fill.shape[0] - 1), k / (fill.shape[1] - 1)
            edge = (1 - u) * positions[fill[0, k]] + u * positions[fill[-1, k]]
            side = (1 - w) * positions[fill[i, 0]] + w * positions[fill[i, -1]]
            x, y, _ = 0.5 * (edge + side) - EYE
            deep = -np.sqrt(max(16.6**2 - x**2 - y**2, 4.0))
            positions[fill[i, k]] = EYE + np.array([x, y, deep])


def shape_lids(field: Field, layout: Layout, positions: Rows) -> None:
    """After the easing: the plate of the upper lid, its crease and the fold over it, and the lower lid's bag."""
    character = field.character
    lids = Lids(character)
    at = {name: layout.eye[ring(EYE_RINGS, name)] for name in EYE_RINGS}
    edge = lids.radius("edge") / _BALL["edge"]
    upper = slice(1, _HALF)
    hang = character.hood * np.linspace(0.1, 1.0, 11) ** 1.5
    for name, ball, opened in (
        ("tarsal", 14.45, np.full(11, 10.0)),
        ("crease", 14.1, np.full(11, 18.0)),
        ("fold", 16.4, 16.5 - 8.0 * hang),
    ):
        angle = lids.upper[upper] + np.radians(opened) * lids.rise[upper]
        r = ball * edge[upper]
        x = positions[at[name][upper], 0] - EYE[0]
        aim = EYE + np.stack([x, r * np.sin(angle), r * np.cos(angle)], axis=1)
        weight = np.minimum(1.0, 1.15 * lids.rise[upper])[:, None]
        positions[at[name][upper]] += (aim - positions[at[name][upper]]) * weight
    middle = at["middle"][upper]
    out = field.normals(positions[middle])
    positions[middle] += (1.6 * out - np.array([0, 1.0, 0])) * lids.rise[upper][:, None]
    ids = at["crease"][COUNT - 1 : _HALF : -1]
    positions[ids] -= field.normals(positions[ids]) * (0.4 * lids.rise[upper])[:, None]
