"""Stabilising: the rigid motion of the skull that scans of expressions still carry, found and taken away.

A shape's target is a rigid motion of the skull and then an expression. What an expression does not move lies on the
skull: the motion is the one that the most surface agrees on (`composer.geometry.common_motion`), area-weighted. Where
the nose bridge, forehead and ears are known by landmarks the search starts there; and what moves often in the library
weighs less in all of its shapes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.common_motion import common_motion
from composer.geometry.rigid import Similarity
from composer.head.head import Head
from composer.head.places import resolve
from composer.progress import Progress

Points = NDArray[np.float64]
STILL_PLACES = (
    "sellion", "glabella", "trichion", "vertex", "opisthocranion", "frontotemporale_left", "frontotemporale_right",
    "tragion_left", "tragion_right", "zygion_left", "zygion_right",
)  # fmt: skip
"""Where skin lies close on bone and expressions do least (common practice, no source)."""
REACH = 0.06
"""Of the head's diagonal: how far about a place the search starts."""
PASSES = 2
"""How often the library's shapes are gone through: the second time what moves often in them counts less."""
LEAST_DEG, LEAST_MM = 0.02, 0.02
"""Less motion than this is none: an expression's own share in the estimate."""


@dataclass(frozen=True, eq=False)
class HeadMotion:
    """What a shape carries of the head's motion: `motion` takes the neutral's skull to the target's, in mm.

    `turn_deg` is its angle, `shift_mm` (3,) how it moves the middle of the still surface, `still` the share of the
    surface that it brings to rest within a tenth of a millimetre for a head of 250 mm.
    """

    motion: Similarity
    turn_deg: float
    shift_mm: Points
    still: float

    @property
    def matters(self) -> bool:
        """Whether it is more than an expression's own share in the estimate."""
        return self.turn_deg > LEAST_DEG or float(np.linalg.norm(self.shift_mm)) > LEAST_MM


def head_motions(head: Head, progress: Progress | None = None) -> dict[str, HeadMotion]:
    """The head motion of each shape, by name, with what the whole library says about what stands still.

    The same name with `_AT` in percent is an in-between's, as `joy_50`. Parts count as surface: teeth in the upper
    jaw tell most of all.
    """
    targets = {shape.name: head.neutral + shape.delta for shape in head.shapes}
    for shape in head.shapes:
        targets |= {between_name(shape.name, b.at): head.neutral + b.delta for b in shape.inbetweens}
    area = np.maximum(head.surface.vertex_areas, 0.0) if head.polygons.n_faces else np.ones(head.n_vertices)
    weights, first = area, _near_places(head, area)
    found: dict[str, Similarity] = {}
    for turn in range(PASSES):
        unrest = np.zeros((len(targets), head.n_vertices), dtype=np.float32)
        for number, (name, target) in enumerate(targets.items()):
            if progress is not None:
                progress((turn + number / len(targets)) / PASSES, f"head motion of {name}")
            found[name] = common_motion(head.neutral, target, weights, first)
            unrest[number] = np.linalg.norm(found[name](head.neutral) - target, axis=1)
        if len(targets) > 2:
            often = np.median(unrest, axis=0)
            weights = area / (1.0 + (often / (1e-3 * head.diagonal)) ** 2)
    return {name: _told(head, target, found[name], area) for name, target in targets.items()}


def between_name(shape: str, at: float) -> str:
    """How an in-between is named beside its shape: the share in percent."""
    return f"{shape}_{round(100 * at)}"


def _told(head: Head, target: Points, motion: Similarity, area: Points) -> HeadMotion:
    moved = motion(head.neutral)
    off = np.linalg.norm(moved - target, axis=1)
    still = off <= 4e-4 * head.diagonal
    share = float(area[still].sum() / max(float(area.sum()), 1e-300))
    middle = np.average(head.neutral, axis=0, weights=area * still if (area * still).any() else None)
    return HeadMotion(motion, motion.angle_deg, motion(middle[None])[0] - middle, share)


def _near_places(head: Head, area: Points) -> Points | None:
    """Weights about the places where bone lies under the skin; None where no landmark says where that is."""
    marks = head.landmarks
    known: Sequence[Points] = [
        resolve(place, head.neutral)
        for name, place in (marks.points.items() if marks is not None else ())
        if name in STILL_PLACES
    ]
    if len(known) < 3:
        return None
    far = cKDTree(np.array(known)).query(head.neutral)[0]
    return area * np.exp(-0.5 * (far / (REACH * head.diagonal)) ** 2) * head.skin
