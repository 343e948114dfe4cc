"""Whole-face expressions: published combinations of action units, each a little uneven, as faces are.

A published combination has its source beside it; "own" ones were made by eye. Scans are never quite even and the head
never quite rests, so every expression has a seeded unevenness of its sided units, and some have a small rigid motion of
the whole head. The motion is recorded here, so that tests can measure how well it is removed.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from composer.demo.action_units import BY_NAME, GAZES
from composer.errors import unknown

UNEVEN = 0.06
"""Standard deviation of a side's weight about the weight of its pair (our choice)."""


@dataclass(frozen=True)
class HeadMotion:
    """A rigid motion of the whole head about `pivot_mm`: turns in degrees about x, y, z (in that order), then a
    shift.
    """

    turn_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    pivot_mm: tuple[float, float, float] = (0.0, -60.0, -20.0)

    def matrix(self) -> NDArray[np.float64]:
        """(4, 4) homogeneous matrix in mm, for points as columns."""
        x, y, z = np.radians(self.turn_deg)
        about_x = np.array([[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]])
        about_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
        about_z = np.array([[np.cos(z), -np.sin(z), 0], [np.sin(z), np.cos(z), 0], [0, 0, 1]])
        turn = about_z @ about_y @ about_x
        pivot = np.array(self.pivot_mm)
        whole = np.eye(4)
        whole[:3, :3] = turn
        whole[:3, 3] = pivot - turn @ pivot + np.array(self.shift_mm)
        return whole

    def apply(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) points moved."""
        whole = self.matrix()
        return points @ whole[:3, :3].T + whole[:3, 3]


@dataclass(frozen=True)
class Expression:
    """A named mixture: `units` by the name of a unit (both sides), of one side's shape, or of a gaze."""

    name: str
    units: Mapping[str, float]
    motion: HeadMotion = field(default_factory=HeadMotion)

    def weights(self, uneven: float = UNEVEN) -> dict[str, float]:
        """Weights by shape name, both sides told apart and made uneven by a seed that is the expression's name.

        Raises MoueError for a unit that does not exist.
        """
        chance = np.random.default_rng(zlib.crc32(self.name.encode()))
        told: dict[str, float] = {}
        for name, weight in self.units.items():
            base = name.removesuffix("_left").removesuffix("_right")
            if name in BY_NAME and BY_NAME[name].sided:
                skew = float(np.clip(chance.normal(0, uneven), -2 * uneven, 2 * uneven))
                even = name == "au43"
                told[f"{name}_left"] = told.get(f"{name}_left", 0.0) + weight * (1.0 if even else 1 + skew)
                told[f"{name}_right"] = told.get(f"{name}_right", 0.0) + weight * (1.0 if even else 1 - skew)
            elif name in BY_NAME or base in BY_NAME or name in GAZES:
                told[name] = told.get(name, 0.0) + weight
            else:
                raise unknown("action unit", name, [*BY_NAME, *GAZES])
        return told


EXPRESSIONS: tuple[Expression, ...] = (
    # Ekman and Friesen 1978, as quoted by later reviews: joy 6+12+25, sadness 1+4+15, disgust 10+17+4,
    # anger 4+5+7+24, surprise 1+2+5+26, fear 1+2+4+5+20+25
    Expression("joy", {"au06": 0.95, "au12": 1.0, "au10": 0.3, "au25": 1.2, "au26": 0.12}),
    Expression("sadness", {"au01": 1.3, "au04": 0.5, "au15": 1.15, "au17": 0.65, "au43": 0.2, "gaze_down": 0.3},
               HeadMotion((1.4, 0.0, -0.5), (0.0, -0.8, 0.3))),
    Expression("disgust", {"au04": 0.7, "au09": 1.2, "au10": 0.65, "au17": 0.7, "au07": 0.5, "au06": 0.2}),
    Expression("anger", {"au04": 1.25, "au05": 0.75, "au07": 0.5, "au24": 0.6, "au23": 0.3, "au17": 0.5, "au09": 0.45,
        "au15": 0.3}),
    Expression("surprise", {"au01": 1.0, "au02": 1.0, "au05": 0.85, "au26": 1.15, "au25": 0.5},
               HeadMotion((-1.2, 0.4, 0.0), (0.0, 0.9, -1.1))),
    Expression("fear", {"au01": 1.25, "au02": 0.6, "au04": 0.7, "au05": 1.15, "au20": 1.2, "au25": 1.0, "au26": 0.4}),
    # contempt: unilateral 12 or 14 (Ekman and Friesen 1986, "A new pan-cultural facial expression of emotion")
    Expression("contempt", {"au14_left": 1.2, "au12_left": 0.65, "au10_left": 0.3, "au07": 0.35, "au43": 0.1,
        "au02_left": 0.3}),
    # own
    Expression("doubt", {"au01_left": 0.7, "au02_left": 1.1, "au04_right": 0.8, "au07_right": 0.4, "au17": 0.6,
        "au15": 0.35,
                         "au24": 0.3, "jaw_left": 0.12}, HeadMotion((0.3, 0.9, 1.1), (0.5, 0.0, 0.0))),
    Expression("grin", {"au12": 1.0, "au10": 0.35, "au16": 0.45, "au25": 0.7, "au06": 0.35, "au20": 0.25}),
    Expression("laugh", {"au06": 1.0, "au12": 1.05, "au10": 0.3, "au25": 0.7, "au26": 1.1, "au07": 0.35,
        "au01": 0.2, "au02": 0.2},
               HeadMotion((-1.8, -0.5, 0.4), (0.2, 0.5, -0.9))),
    Expression("pucker", {"au18": 1.1, "au22": 0.15, "au17": 0.15, "au01": 0.2, "au02": 0.25}),
    Expression("shout", {"au04": 0.9, "au05": 0.35, "au07": 0.45, "au10": 0.6, "au16": 0.5, "au27": 0.95,
        "au25": 0.6, "au09": 0.4}),
    Expression("yawn", {"au27": 0.95, "au43": 0.85, "au01": 0.35, "au02": 0.3, "au04": 0.3, "au22": 0.2},
               HeadMotion((-1.5, 0.0, 0.6), (0.0, 0.4, -0.8))),
    Expression("wince", {"au43": 1.0, "au06": 0.8, "au07": 0.6, "au04": 0.9, "au20": 0.8, "au10": 0.4, "au25": 0.6,
        "au09": 0.4}),
    Expression("sneer", {"au09_left": 0.8, "au10_left": 0.8, "au07_left": 0.35, "au04": 0.5, "au17": 0.2,
        "au12_left": 0.2}),
    Expression("sleepy", {"au43": 0.62, "au01": 0.25, "au02": 0.2, "au15": 0.15, "au25": 0.25, "au26": 0.12,
        "gaze_down": 0.3},
               HeadMotion((1.0, 0.6, -0.9), (0.0, -0.6, 0.4))),
)  # fmt: skip

EXPRESSION_NAMES = tuple(e.name for e in EXPRESSIONS)


def expression(name: str) -> Expression:
    """The expression of this name. Raises MoueError with the nearest names where there is none."""
    for each in EXPRESSIONS:
        if each.name == name:
            return each
    raise unknown("expression", name, EXPRESSION_NAMES)
