"""Stabilising: the rigid motion of the skull that scans of expressions still carry, found and taken away.

A shape's target is a rigid motion of the skull and then an expression. What an expression does not move lies on the
skull: the motion is the one that the most surface agrees on. It is found by iteratively reweighted least squares
(Holland and Welsch 1977) with the weights of Geman and McClure (1987), area-weighted, each round an exact rigid fit
(Kabsch 1976); the scale of the weights goes down from a share of the head's size to what the residuals themselves
say. Where the nose bridge, forehead and ears are known by landmarks the search starts there; and what moves often in
the library weighs less in all of its shapes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.polygons import read_only
from composer.geometry.rigid import Similarity, similarity
from composer.head.head import Head, InBetween, Shape
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
WIDE, NARROW = 0.03, 1e-5
"""Of the head's diagonal: the scale of the weights at first, and the smallest (what files leave of a still vertex)."""
ROUNDS = 40
PASSES = 2
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


def head_motion(neutral: NDArray, target: NDArray, weights: NDArray, first: NDArray | None = None) -> Similarity:
    """The rigid motion from `neutral` to `target` (n, 3), in any one unit, on which the most of the surface agrees.

    `weights` (n,) not negative say how much surface a vertex stands for; with `first` (n,) the search begins with
    these weights.
    """
    size = float(np.linalg.norm(np.ptp(neutral, axis=0))) or 1.0
    start = weights if first is None or not first.any() else first
    found = similarity(neutral, target, start, scaled=False)
    scale = WIDE * size
    for _ in range(ROUNDS):
        off = np.linalg.norm(found(neutral) - target, axis=1)
        about = 1.4826 * _weighted_median(off, weights)
        scale = max(min(0.7 * scale, max(2.0 * about, 0.2 * scale)), NARROW * size)
        robust = weights / (1.0 + (off / scale) ** 2) ** 2
        before, found = found, similarity(neutral, target, robust, scaled=False)
        moved = np.abs(found.rotation - before.rotation).max() * size + np.abs(found.shift - before.shift).max()
        if moved < 1e-9 * size and scale <= NARROW * size:
            break
    return found


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
            found[name] = head_motion(head.neutral, target, weights, first)
            unrest[number] = np.linalg.norm(found[name](head.neutral) - target, axis=1)
        if len(targets) > 2:
            often = np.median(unrest, axis=0)
            weights = area / (1.0 + (often / (1e-3 * head.diagonal)) ** 2)
    return {name: _told(head, target, found[name], area) for name, target in targets.items()}


def stabilised(head: Head, motions: Mapping[str, HeadMotion]) -> Head:
    """The head with the motions taken from its shapes; a shape whose motion does not matter is the very same."""

    def still(name: str, delta: NDArray[np.float32]) -> NDArray[np.float32]:
        if name not in motions or not motions[name].matters:
            return delta
        back = motions[name].motion.inverse()
        return read_only((back(head.neutral + delta) - head.neutral).astype(np.float32))

    shapes = []
    for shape in head.shapes:
        between = tuple(InBetween(b.at, still(between_name(shape.name, b.at), b.delta)) for b in shape.inbetweens)
        delta = still(shape.name, shape.delta)
        same = delta is shape.delta and all(a.delta is b.delta for a, b in zip(between, shape.inbetweens, strict=True))
        shapes.append(shape if same else Shape(shape.name, delta, between))
    return head.with_(shapes=tuple(shapes))


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


def _weighted_median(values: Points, weights: Points) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order[min(int(np.searchsorted(total, 0.5 * total[-1])), len(values) - 1)]])
