"""Stabilising: finding the rigid head motion that scans of expressions still contain.

A scanned target is a rigid motion of the skull followed by an expression. Surface that an expression does not move is
fixed to the skull, so the head motion is the one shared by the largest area (`composer.geometry.common_motion`). Where
landmarks give nose bridge, forehead and ears, the search starts there. Surface that moves often in the library has less
weight in all shapes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.geometry.common_motion import common_motion, is_at_rest
from composer.geometry.rigid import Similarity
from composer.head.head import Head
from composer.head.places import resolve
from composer.progress import Progress

Points = NDArray[np.float64]
STILL_PLACES = (
    "sellion", "glabella", "trichion", "vertex", "opisthocranion", "frontotemporale_left", "frontotemporale_right",
    "tragion_left", "tragion_right", "zygion_left", "zygion_right",
)  # fmt: skip
"""Landmarks where skin lies close on bone and expressions move least (common practice, no source)."""
REACH = 0.06
"""The radius around such a landmark at which the search starts, as a fraction of the head's diagonal. A design choice,
no source.
"""
PASSES = 2
"""Passes over the library's shapes: in the second, surface that moves often has less weight."""
BLOCK = 1 << 16
"""Vertices that are compared over all targets at a time (our choice)."""
LEAST_SHARE = 0.02
"""A vertex tells at least this share, for its area, of what the stillest vertex tells (our choice)."""
LEAST_DEG, LEAST_MM = 0.02, 0.02
"""Motion below these, in degrees and mm, is within the error of the estimate. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class HeadMotion:
    """The head motion in a shape: `motion` maps the neutral's skull to the target's, in mm.

    `turn_deg` is its angle, `shift_mm` (3,) the movement of the centre of the fixed surface, `still` the share of the
    surface that it explains to within a tenth of a millimetre on a head of 250 mm.
    """

    motion: Similarity
    turn_deg: float
    shift_mm: Points
    still: float

    @property
    def matters(self) -> bool:
        """Whether the motion is larger than the error of the estimate."""
        return self.turn_deg > LEAST_DEG or float(np.linalg.norm(self.shift_mm)) > LEAST_MM


def head_motions(head: Head, progress: Progress | None = None) -> dict[str, HeadMotion]:
    """The head motion of each shape, by name, with weights for fixed surface from the whole library.

    An in-between has the shape's name with `_AT` in percent, as `joy_50`. Parts count as surface: the upper teeth are
    the best evidence. Where more than half of the surface does not move at all, the head is at rest.
    """
    deltas, area = _deltas(head), vertex_areas(head)
    weights, found = area, dict[str, Similarity]()
    for turn in range(PASSES):
        if turn:
            weights = _less_where_it_moves(head, deltas, found, area)
        found = _motions(head, deltas, weights, lambda done, words, turn=turn: (  # type: ignore[misc]
            progress((turn + done) / PASSES, words) if progress is not None else None
        ))  # fmt: skip
    return {name: _told(head, head.neutral + delta, found[name], area) for name, delta in deltas.items()}


def skull_weights(head: Head, progress: Progress | None = None) -> Points:
    """(n,) mm^2, how much each vertex tells of the head's motion: its area, less where it moves often in the library, a
    fiftieth of it at least beside the vertex that tells most: where nothing keeps still, no few vertices decide.

    With fewer than three shapes it is the area.
    """
    deltas, area = _deltas(head), vertex_areas(head)
    weights = _less_where_it_moves(head, deltas, _motions(head, deltas, area, progress), area)
    share = np.divide(weights, area, out=np.zeros_like(area), where=area > 0.0)
    return area * np.maximum(share, LEAST_SHARE * share.max(initial=0.0))


def _deltas(head: Head) -> dict[str, NDArray]:
    """The displacements of all shapes and in-betweens, by name."""
    deltas = {shape.name: shape.delta for shape in head.shapes}
    for shape in head.shapes:
        deltas |= {between_name(shape.name, b.at): b.delta for b in shape.inbetweens}
    return deltas


def vertex_areas(head: Head) -> Points:
    """(n,) mm^2 the area of each vertex; 1 where the head has no polygons."""
    return np.maximum(head.surface.vertex_areas, 0.0) if head.polygons.n_faces else np.ones(head.n_vertices)


def _less_where_it_moves(
    head: Head, deltas: Mapping[str, NDArray], found: Mapping[str, Similarity], area: Points
) -> Points:  # fmt: skip
    if len(deltas) <= 2:
        return area
    return area / (1.0 + (_often_off(head.neutral, deltas, found) / (1e-3 * head.diagonal)) ** 2)


def _motions(
    head: Head, deltas: Mapping[str, NDArray], weights: Points, progress: Progress | None
) -> dict[str, Similarity]:  # fmt: skip
    """The head motion of each displacement, under `weights` (n,)."""
    area, first = vertex_areas(head), _near_places(head, vertex_areas(head))
    found: dict[str, Similarity] = {}
    for number, (name, delta) in enumerate(deltas.items()):
        if progress is not None:
            progress(number / len(deltas), f"head motion of {name}")
        if is_at_rest(head.neutral, area, delta):
            found[name] = Similarity(np.eye(3), np.zeros(3))
        else:
            found[name] = common_motion(head.neutral, head.neutral + delta, weights, first)
    return found


def _often_off(neutral: Points, deltas: Mapping[str, NDArray], found: Mapping[str, Similarity]) -> NDArray[np.float32]:
    """(n,) how far each vertex is off the head motions, the median over the targets, mm; by blocks of vertices, so that
    memory does not grow with the number of targets."""
    often = np.zeros(len(neutral), dtype=np.float32)
    for start in range(0, len(neutral), BLOCK):
        part = slice(start, start + BLOCK)
        points = neutral[part]
        off = np.empty((len(deltas), len(points)), dtype=np.float32)
        for row, (name, delta) in zip(off, deltas.items(), strict=True):
            row[:] = np.linalg.norm(found[name](points) - (points + delta[part]), axis=1)
        often[part] = np.median(off, axis=0)
    return often


def between_name(shape: str, at: float) -> str:
    """The name of an in-between: its shape's, with the weight in percent."""
    return f"{shape}_{round(100 * at)}"


def _told(head: Head, target: Points, motion: Similarity, area: Points) -> HeadMotion:
    moved = motion(head.neutral)
    off = np.linalg.norm(moved - target, axis=1)
    still = off <= 4e-4 * head.diagonal
    share = float(area[still].sum() / max(float(area.sum()), 1e-300))
    middle = np.average(head.neutral, axis=0, weights=area * still if (area * still).any() else None)
    return HeadMotion(motion, motion.angle_deg, motion(middle[None])[0] - middle, share)


def _near_places(head: Head, area: Points) -> Points | None:
    """Weights around the landmarks on bone; None where there are no such landmarks."""
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
