"""A made head whose shapes are bumps on a bowl, with two regions, and takes of it of known weights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from composer.bench.planted_take import PlantedTake, planted_take
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project, Region
from composer.edits.head_frames import HeadFrames
from composer.edits.match_frames import MatchedFrames, match_frames
from composer.head.head import Head, Shape
from composer.mixing.hinge import Hinge
from composer.mixing.match import Bounds
from composer.mixing.recipe import CellKey
from tests.small_heads import grid

SIDE, MM = 24, 160.0
FEW = Bounds(sparse=0.01)


def bowl(count: int = 12, seed: int = 3) -> Head:
    """A bowl of 160 mm, 576 vertices, and shapes that each push out a place of it by about 6 mm."""
    rng = np.random.default_rng(seed)
    x, y = (MM * (each.ravel() - 0.5) for each in np.meshgrid(np.linspace(0, 1, SIDE), np.linspace(0, 1, SIDE)))
    neutral = np.stack([x, y, -0.005 * (x**2 + y**2)], axis=1)
    shapes = []
    for number in range(count):
        middle = rng.uniform(-0.3, 0.3, size=2) * MM
        away = np.exp(-0.5 * ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / (0.08 * MM) ** 2)
        shapes.append(Shape(f"push_{number}", (6.0 * away[:, None] * rng.normal(size=3)).astype(np.float32)))
    return Head("bowl", grid(SIDE, SIDE), neutral, tuple(shapes))


def with_sides(head: Head, hinges: Mapping[str, Hinge] | None = None) -> EvaluatedDocument:
    """A document on the head with a left and a right region that share it; shapes turn about `hinges`."""
    left = np.clip(0.5 + head.neutral[:, 0] / 60.0, 0.0, 1.0).astype(np.float32)
    stored = {"masks/left.npy": left, "masks/right.npy": (1.0 - left).astype(np.float32)}
    regions = tuple(Region(side, {"from": "file", "file": f"masks/{side}.npy"}) for side in ("left", "right"))
    project = Project(Path("bowl.moue"), Path("bowl"), "mm", regions=regions, stored=stored)
    evaluated = EvaluatedDocument(project, head)
    if hinges:
        vars(evaluated)["hinges"] = dict(hinges)
    return evaluated._made()


def taken(evaluated: EvaluatedDocument, cells: Sequence[CellKey], frames: int = 60, **more: float) -> PlantedTake:
    return planted_take(evaluated.mixer, cells, frames, **more)  # type: ignore[arg-type]


def matched(
    evaluated: EvaluatedDocument, take: PlantedTake, regions: Sequence[str] | None = None, bounds: Bounds = FEW
) -> MatchedFrames:  # fmt: skip
    return match_frames(evaluated, HeadFrames(evaluated.head, take.sequence), regions, bounds=bounds)


def weights_of(found: MatchedFrames, cells: Sequence[CellKey]) -> np.ndarray:
    """(f, c) the weights of some cells, 0 of those that were not found."""
    place = {key: column for column, key in enumerate(found.cells)}
    zero = np.zeros(len(found.times))
    return np.stack([found.weights[:, place[key]] if key in place else zero for key in cells], axis=1)
