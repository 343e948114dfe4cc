"""Wrinkles: fine folds that a level above the cage adds where the units that make them are at work.

A wrinkle is a line of skin between landmarks; across it the surface sinks in a groove and rises in a bank on either
side. Each family of lines belongs to the units that fold the skin there, and deepens with their weights: frontalis
the forehead, corrugator the glabella, orbicularis oculi the crow's feet, the nose's levators its sides, mentalis the
chin. A groove is never narrower than the mesh can hold: where edges are long it is wider and shallower.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.demo.anatomy import Anatomy, smoothstep
from composer.demo.muscles import Place

Points = NDArray[np.float64]
_STEP_MM = 0.6


@dataclass(frozen=True)
class Family:
    """Lines on the left side (a line may cross the midline) and the units, with shares, whose weights deepen them."""

    name: str
    lines: tuple[tuple[Place, ...], ...]
    units: Mapping[str, float]
    depth_mm: float
    width_mm: float


def _forehead() -> tuple[tuple[Place, ...], ...]:
    lines = []
    for k, up in enumerate((12.0, 20.5, 29.5, 39.0)):
        flat = 0.85**k
        lines.append((
            ("glabella", (0.0, up + 7.5, 0.0)), ("brow_head", (-3.0, up + 3.0 * flat, 0.0)),
                ("brow_body", (0.0, up + 1.0, 0.0)),
            ("brow_arch", (2.0, up - 0.5, 0.0)), ("brow_arch", (10.0, up - 5.0, 0.0)),
        ))  # fmt: skip
    return tuple(lines)


FAMILIES: tuple[Family, ...] = (
    Family("forehead", _forehead(), {"au01": 0.55, "au02": 0.55}, 1.5, 2.2),
    Family("glabella", (
        (("brow_head", (-8.5, -3.0, 0.0)), ("brow_head", (-9.0, 5.0, 0.0)), ("brow_head", (-8.0, 13.0, 0.0))),
        (("brow_head", (-3.5, 1.0, 0.0)), ("brow_head", (-3.0, 9.0, 0.0))),
    ), {"au04": 1.0, "au09": 0.4}, 2.1, 1.7),
    Family("nose_root", (
        (("sellion", (0.0, 4.0, 0.0)), ("sellion", (5.0, 3.0, 0.0)), ("sellion", (9.0, 0.0, 0.0))),
    ), {"au04": 0.35, "au09": 0.7}, 1.3, 2.2),
    Family("crows_feet", (
        (("exocanthion", (6.0, 3.0, 0.0)), ("exocanthion", (13.0, 7.5, 0.0)), ("exocanthion", (19.0, 11.0, 0.0))),
        (("exocanthion", (6.5, -0.5, 0.0)), ("exocanthion", (14.0, 0.0, 0.0)), ("exocanthion", (21.0, 0.5, 0.0))),
        (("exocanthion", (6.0, -4.0, 0.0)), ("exocanthion", (12.5, -7.5, 0.0)), ("exocanthion", (18.0, -12.0, 0.0))),
    ), {"au06": 1.0, "au07": 0.25}, 1.9, 1.5),
    Family("under_eye", (
        (("endocanthion", (3.0, -8.0, 0.0)), ("palpebrale_inferius", (0.0, -9.5, 0.0)),
            ("exocanthion", (1.0, -9.5, 0.0))),
        (("endocanthion", (3.0, -4.5, 0.0)), ("palpebrale_inferius", (0.0, -5.0, 0.0)),
            ("exocanthion", (0.0, -5.5, 0.0))),
    ), {"au06": 0.8, "au07": 0.7, "au09": 0.3}, 0.7, 1.5),
    Family("nose_side", (
        (("sellion", (4.5, -9.0, 0.0)), ("sellion", (9.0, -13.0, 0.0)), ("sellion", (12.0, -19.0, 0.0))),
        (("sellion", (4.0, -15.0, 0.0)), ("sellion", (9.0, -20.0, 0.0)), ("sellion", (12.0, -26.0, 0.0))),
    ), {"au09": 1.0, "au10": 0.15}, 0.9, 1.6),
    Family("nasolabial", (
        (("alare", (2.0, 4.0, 0.0)), ("alare", (6.5, -6.0, 0.0)), ("cheilion", (7.5, 9.0, 0.0)),
            ("cheilion", (10.0, 0.0, 0.0))),
    ), {"au12": 0.9, "au10": 0.6, "au09": 0.5, "au13": 0.6}, 1.5, 2.2),
    Family("mouth_corner", (
        (("cheilion", (5.5, 5.0, 0.0)), ("cheilion", (7.0, -2.0, 0.0)), ("cheilion", (5.5, -9.0, 0.0))),
    ), {"au14": 1.0, "au15": 0.7, "au20": 0.6, "au12": 0.25}, 1.0, 1.7),
)  # fmt: skip
CHIN_UNITS = {"au17": 1.0, "au15": 0.25}
CHIN_DEPTH_MM = 1.2


class Wrinkles:
    """The wrinkles of one face on one finer mesh; `heights` gives how far its skin sinks or rises at given weights."""

    def __init__(
        self, anatomy: Anatomy, positions: Points, outer: NDArray[np.float64], edge_mm: NDArray[np.float64]
    ) -> None:
        """Take the finer neutral (m, 3) mm, how far each vertex is seen skin (m,) in [0, 1], its mean edge length
        (m,).
        """
        from scipy.interpolate import LinearNDInterpolator

        self.anatomy = anatomy
        self.positions = positions
        self.outer = outer
        self.edge_mm = edge_mm
        front = (outer > 0.99) & (positions[:, 2] > anatomy.points["tragion"][2] + 15 * anatomy.scale)
        self._front = LinearNDInterpolator(positions[front, :2], positions[front, 2])
        self.fields = {family.name: self._field(family) for family in FAMILIES}
        self.fields["chin"] = self._chin()

    def heights(self, weights: Mapping[str, float]) -> NDArray[np.float64]:
        """(m,) mm along the normal, negative in a groove, at weights of units by their shapes' names."""
        total = np.zeros(len(self.positions))
        left = smoothstep(self.positions[:, 0], -7 * self.anatomy.scale, 7 * self.anatomy.scale)
        for name, units in [*((f.name, f.units) for f in FAMILIES), ("chin", CHIN_UNITS)]:
            for share, side in ((left, "left"), (1 - left, "right")):
                w = sum(k * weights.get(f"{unit}_{side}", weights.get(unit, 0.0)) for unit, k in units.items())
                total += share * min(max(w, 0.0), 1.4) * self.fields[name]
        return total

    def _field(self, family: Family) -> NDArray[np.float64]:
        from scipy.spatial import cKDTree

        s = self.anatomy.scale
        width = np.maximum(family.width_mm * s, 0.55 * self.edge_mm)
        total = np.zeros(len(self.positions))
        for line in family.lines:
            places, along = self._on_face(np.array([self.anatomy.at(*place) for place in line]))
            if len(places) < 2:
                continue
            folded = self.positions * np.array([1.0, 1.0, 1.0])
            folded[:, 0] = np.abs(folded[:, 0])
            distance, near = cKDTree(places).query(folded, distance_upper_bound=30 * s)
            hit = np.isfinite(distance)
            d, w = distance[hit] / width[hit], width[hit] / s
            ends = np.ones(hit.sum()) if line[0][1][0] == 0.0 else smoothstep(along[near[hit]], 0.0, 0.25)
            ends = ends * smoothstep(1 - along[near[hit]], 0.0, 0.3)
            shape = -np.exp(-0.5 * d**2) + 0.5 * np.exp(-0.5 * ((d - 2.1) / 0.9) ** 2)
            total[hit] += shape * ends * family.depth_mm * s * np.sqrt(np.minimum(1.0, family.width_mm / w))
        return total * self.outer

    def _on_face(self, corners: Points) -> tuple[Points, NDArray[np.float64]]:
        """A line through corners (k, 3) laid on the face: points every `_STEP_MM` and how far along each is."""
        from scipy.interpolate import PchipInterpolator

        before = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners[:, :2], axis=0), axis=1))])
        at = np.linspace(0, before[-1], max(int(before[-1] / _STEP_MM), 2))
        flat = PchipInterpolator(before, corners[:, :2], axis=0)(at)
        z = self._front(flat)
        on_face = np.isfinite(z)
        return np.column_stack([flat, z])[on_face], (at / before[-1])[on_face]

    def _chin(self) -> NDArray[np.float64]:
        """Dimples over the chin's ball: a seeded sum of waves about as long as the mesh can hold."""
        chance = np.random.default_rng(17)
        s = self.anatomy.scale
        away = (self.positions - self.anatomy.at("pogonion", (0.0, 2.0, 0.0))) / s
        ball = np.exp(-0.5 * ((away / np.array([12.0, 9.0, 14.0])) ** 2).sum(1))
        wave = np.zeros(len(away))
        length = max(5.0, 2.6 * float(np.median(self.edge_mm[ball > 0.5])) / s) if (ball > 0.5).any() else 5.0
        for _ in range(9):
            direction = chance.normal(size=3)
            direction /= np.linalg.norm(direction)
            wave += np.cos(2 * np.pi * (np.abs(away) if direction[0] > 0 else away * [-1, 1, 1]) @
            np.abs(direction) / length
                           + chance.uniform(0, 6.28))  # fmt: skip
        return -CHIN_DEPTH_MM * s * ball * self.outer * np.clip(wave / 3, -1, 1)
