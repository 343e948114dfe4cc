"""The library of a demo head: its neutral with every action unit and expression as shapes, at the cage or above.

At level 0 a shape is the pose less the neutral. At level k each pose is subdivided and the wrinkles that its units
make are laid on it; the neutral is the subdivided one, so detail is what a shape at level k has beyond its cage.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from composer.demo.action_units import unit_names
from composer.demo.anatomy import anatomy_of
from composer.demo.character import Character
from composer.demo.expressions import EXPRESSIONS, HeadMotion
from composer.demo.neutral import DemoNeutral, build_neutral
from composer.demo.posing import Posing
from composer.demo.wrinkles import Wrinkles
from composer.geometry.polygons import read_only
from composer.geometry.surface import Surface
from composer.head.head import Head, InBetween, Shape
from composer.head.levels import Refinement, head_at_level, levels, refine
from composer.progress import Progress

Points = NDArray[np.float64]

HALFWAY = ("au43_left", "au43_right", "au12_left", "au12_right", "gaze_down", "joy", "sleepy", "wince", "yawn")
"""Shapes with an in-between at 0.5, because lids turn about the eye and corners round the teeth."""


def build_library(character: Character, level: int = 0, progress: Progress | None = None) -> Head:
    """The head of a character with all its shapes, vertices at `level` (0 is the cage), lengths in mm.

    Raises MoueError where the level is out of range.
    """
    return library_of(build_neutral(character), level, progress)


def library_of(
    neutral: DemoNeutral,
    level: int = 0,
    progress: Progress | None = None,
    names: Collection[str] | None = None,
    posing: Posing | None = None,
) -> Head:
    """The library of a neutral that is already built, or only the shapes of these names; see `build_library`.

    Whoever asks for several levels hands over the neutral's `posing`, which keeps what it has made.
    """
    if posing is None:
        posing = Posing(anatomy_of(neutral))
    head = head_at_level(neutral.head(), level)
    finer = _Finer(posing, levels(neutral.polygons, level), head) if level else None
    recipes = [recipe for recipe in _recipes() if names is None or recipe[0] in names]
    shapes = []
    for done, (name, weights, motion) in enumerate(recipes):
        if progress is not None:
            progress(done / len(recipes), f"shaping {name}")
        half: tuple[InBetween, ...] = ()
        if name in HALFWAY:
            fewer = {unit: 0.5 * w for unit, w in weights.items()}
            half = (InBetween(0.5, _delta(posing, finer, head, fewer, _part_of(motion, 0.5))),)
        shapes.append(Shape(name, _delta(posing, finer, head, weights, motion), half))
    return head.with_(shapes=tuple(shapes))


def _recipes() -> list[tuple[str, dict[str, float], HeadMotion]]:
    still = HeadMotion()
    units = [(name, {name: 1.0}, still) for name in unit_names()]
    return units + [(e.name, e.weights(), e.motion) for e in EXPRESSIONS]


def _part_of(motion: HeadMotion, share: float) -> HeadMotion:
    turn, shift = (tuple(share * v for v in values) for values in (motion.turn_deg, motion.shift_mm))
    return HeadMotion(turn, shift, motion.pivot_mm)  # type: ignore[arg-type]


def _delta(
    posing: Posing, finer: _Finer | None, head: Head, weights: Mapping[str, float], motion: HeadMotion
) -> NDArray[np.float32]:
    target = posing.pose(weights)
    if finer is not None:
        target = finer.lift(target, weights)
    if motion != HeadMotion():
        target = motion.apply(target)
    moved = target - head.neutral
    moved[np.abs(moved).max(axis=1) < 1e-6] = 0.0
    return read_only(np.ascontiguousarray(moved, dtype=np.float32))


class _Finer:
    """Lifts poses of the cage to a level and lays their wrinkles on."""

    def __init__(self, posing: Posing, factors: list[Refinement], head: Head) -> None:
        self.factors, self.head = factors, head
        outer = refine(posing.anatomy.outer.astype(float), factors)
        lengths = head.polygons.edges
        edge = np.linalg.norm(head.neutral[lengths[:, 0]] - head.neutral[lengths[:, 1]], axis=1)
        total = np.bincount(lengths.ravel(), np.repeat(edge, 2), head.n_vertices)
        count = np.bincount(lengths.ravel(), minlength=head.n_vertices)
        self.wrinkles = Wrinkles(posing.anatomy, head.neutral, outer, total / np.maximum(count, 1))

    def lift(self, target: Points, weights: Mapping[str, float]) -> Points:
        """(m, 3) the finer vertices of a pose (n, 3) with its wrinkles."""
        fine = refine(target, self.factors)
        heights = self.wrinkles.heights(weights)
        if heights.any():
            fine = fine + heights[:, None] * Surface(self.head.polygons, fine).vertex_normals
        return fine
