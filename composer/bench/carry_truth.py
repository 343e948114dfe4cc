"""How well one shape is carried onto another person's head: errors against the truth, lids, lips, crossing faces.

The truth is the sum: the heads come from the same linear model as the library, in which a person's expression is that
person's neutral plus the library's own displacement. That holds away from lids and lips; where those touch, the sum
gapes or crosses, and contact decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from composer.contact.depth import crossing_depth
from composer.fitting.contact import BESIDE
from composer.geometry.part import whole_polygons
from composer.geometry.self_crossing import SelfCrossing
from composer.head.head import Head

Floats = NDArray[np.float64]
AWAY_MM = 10.0
"""Errors count further than this from the lines of lids and lips."""
STRIP = 4
"""A lip is what lies within this many edges of its line."""
DEEPEST_MM = 6.0
"""A corner further from the other lip than this has another side of the mouth beside it, and does not count."""
MOVES_MM = 0.1
"""A shape that moves the skin nowhere by more does not move it: what is left is the rounding of files and the noise of
scans, and no share of it is an error."""
SIDES = ("left", "right")


@dataclass(frozen=True)
class Carried:
    """One shape carried one way onto one head.

    `error` (no unit) is the displacement's, as a share of the true one, outside AWAY_MM of lids and lips. `gap_mm`, for
    a shape that shuts lids, is the mean gap beyond the library's own; else None. `lips_mm` is how much deeper one lip
    crosses the other than the library's own does, or than they do at rest; `lips_sum_mm` the same of the plain sum.
    `faces` of the skin cross each other, of the sum `faces_sum`; `faces_own` are those of the head at rest and what the
    shape adds to them on the library: lids that close cross a little, lids that gape do not. `further` is the most
    that contact moves anything, in times of what moves beside it without.
    """

    head: int
    way: str
    shape: str
    error: float
    gap_mm: float | None
    lips_mm: float
    lips_sum_mm: float
    faces: int
    faces_sum: int
    faces_own: int
    further: float


@dataclass(frozen=True, eq=False)
class Summed:
    """A shape's `delta` (n, 3) mm on the neutral `rest` (n, 3) by plain addition: how deep in mm its lips cross, and
    how deep the library's own may, in the shape or at rest; how many faces of its skin cross, and how many would if
    the shape added as many as on the library."""

    name: str
    rest: Floats
    delta: Floats
    lips_own: float
    lips: float
    faces: int
    faces_own: int


class Truth:
    """What a library's shapes are on its own head, and how a carried one is measured."""

    def __init__(self, head: Head) -> None:
        """Take a library in mm with the landmark curves of lids and lips."""
        self.head = head
        triangles = head.polygons.triangles
        self._skin = triangles[head.skin[triangles].all(axis=1)]
        self._test = SelfCrossing(whole_polygons(head.polygons, head.skin))

    def summed(self, name: str, rest: NDArray) -> Summed:
        """What a shape is on the neutral `rest` (n, 3) mm by plain addition."""
        delta = self.head.shape(name).delta.astype(np.float64)
        own = max(self.lips_deep(self.head.neutral + delta), self.lips_deep(rest))
        added = self.crossing(self.head.neutral + delta) - self._crossing_neutral
        return Summed(
            name, rest, delta, own, self.lips_deep(rest + delta), self.crossing(rest + delta),
            self.crossing(rest) + max(added, 0),
        )  # fmt: skip

    def measured(self, number: int, way: str, summed: Summed, carried: NDArray, plain: NDArray) -> Carried:
        """A displacement `carried` (n, 3) mm to head `number` beside the sum; `plain` (n, 3) is the same without
        contact, on the skin at least."""
        rest, pose = summed.rest, summed.rest + carried
        return Carried(
            number, way, summed.name, self.error(rest, summed.delta, carried), self.wider(summed.name, pose),
            self.lips_deep(pose) - summed.lips_own, summed.lips - summed.lips_own, self.crossing(pose), summed.faces,
            summed.faces_own, self.further(rest, plain, carried),
        )  # fmt: skip

    @cached_property
    def _crossing_neutral(self) -> int:
        return self.crossing(self.head.neutral)

    @cached_property
    def shut_by(self) -> dict[str, str]:
        """The shape that closes the lids most, by side."""
        names = self.head.shape_names
        gaps = {side: [lid_gap(self.head, self.head.target(name), side) for name in names] for side in SIDES}
        return {side: names[int(np.argmin(each))] for side, each in gaps.items()}

    def error(self, rest: NDArray, delta: NDArray, carried: NDArray) -> float:
        """The error of the carried displacement (n, 3) against the true one, as a share of that, on the skin of a
        neutral `rest` (n, 3) further than AWAY_MM from the lines of lids and lips; 0 where nothing moves there."""
        assert self.head.landmarks is not None
        lids = (f"{one}_lid_{side}" for one in ("upper", "lower") for side in SIDES)
        names = ("lip_line_upper", "lip_line_lower", *lids)
        lines = np.concatenate([self.head.landmarks.curve_positions(name, rest) for name in names])
        far = np.flatnonzero(self.head.skin & (cKDTree(lines).query(rest)[0] > AWAY_MM))
        if not np.linalg.norm(delta[far], axis=1).max(initial=0.0) > MOVES_MM:
            return 0.0
        return float(np.linalg.norm((carried - delta)[far]) / max(float(np.linalg.norm(delta[far])), 1e-9))

    def wider(self, name: str, pose: NDArray) -> float | None:
        """mm that the lids which this shape shuts are further apart than the library's own, the worse side; None."""
        sides = [side for side, shut in self.shut_by.items() if shut == name]
        gaps = [lid_gap(self.head, pose, side) - lid_gap(self.head, self.head.target(name), side) for side in sides]
        return max(gaps, default=None)

    def crossing(self, pose: NDArray) -> int:
        """How many polygons of the skin cross another one."""
        return int(self._test.crossing_faces(pose).sum())

    def lips_deep(self, pose: NDArray) -> float:
        """mm that corners of faces of one lip which cross the other lie behind it; 0 where none cross."""
        return crossing_depth(pose, *self._lips, DEEPEST_MM)

    def further(self, rest: NDArray, plain: NDArray, carried: NDArray) -> float:
        """The most times that the skin moves as far as the plain transfer (n, 3) moves what lies beside it on `rest`
        (n, 3)."""
        skin = np.flatnonzero(self.head.skin)
        beside = cKDTree(rest[skin]).query(rest[skin], k=min(BESIDE, len(skin)))[1].reshape(len(skin), -1)
        most = np.linalg.norm(plain[skin], axis=1)[beside].max(axis=1)
        far = np.linalg.norm(carried[skin], axis=1)
        moves = far > MOVES_MM
        return float((far[moves] / np.maximum(most[moves], 1e-12)).max(initial=0.0))

    @cached_property
    def _lips(self) -> tuple[NDArray, NDArray]:
        """The triangles of the upper and of the lower lip, by steps from their lines."""
        assert self.head.landmarks is not None
        upper, lower = (self._steps(self.head.landmarks.curves[f"lip_line_{each}"]) for each in ("upper", "lower"))
        strips = (((one < other) & (one <= STRIP))[self._skin].all(axis=1) for one, other in
                  ((upper, lower), (lower, upper)))  # fmt: skip
        first, second = (self._skin[strip] for strip in strips)
        return first, second

    def _steps(self, curve: Sequence | NDArray) -> NDArray[np.int64]:
        """(n,) edges from a curve of vertices, STRIP + 1 beyond STRIP."""
        steps = np.full(self.head.n_vertices, STRIP + 1)
        front = np.asarray(curve, dtype=np.int64)
        steps[front] = 0
        for step in range(1, STRIP + 1):
            front = np.unique(self.head.polygons.adjacency[front].indices)
            front = front[steps[front] > step]
            steps[front] = step
        return steps


def lid_gap(head: Head, pose: NDArray, side: str) -> float:
    """Mean distance in mm of the upper lid's vertices to the lower lid's line and back, on a pose (n, 3)."""
    assert head.landmarks is not None
    upper, lower = (head.landmarks.curve_positions(f"{name}_lid_{side}", pose) for name in ("upper", "lower"))
    return float(np.concatenate([to_line(upper, lower), to_line(lower, upper)]).mean())


def to_line(points: NDArray, line: NDArray) -> Floats:
    """(p,) mm from points (p, 3) to a line through places (k, 3)."""
    start, way = line[:-1], line[1:] - line[:-1]
    along = ((points[:, None] - start) * way).sum(axis=2) / np.maximum((way**2).sum(axis=1), 1e-12)
    nearest = start + np.clip(along, 0.0, 1.0)[..., None] * way
    return np.asarray(np.linalg.norm(points[:, None] - nearest, axis=2).min(axis=1))
