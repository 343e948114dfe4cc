"""The result of a fit in numbers: distances, landmarks, faces, loops, counts."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.curves import on_polyline
from composer.fitting.fit_state import FitState
from composer.fitting.hollows.counted import Soundness, soundness
from composer.fitting.hollows.level_crossing import LevelCrossing, level_crossings
from composer.fitting.loops import Loops
from composer.fitting.not_followed import counted
from composer.fitting.skin import Skin
from composer.geometry.polygons import Polygons
from composer.head.head import Head

Rows = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Median, 95th percentile and maximum of lengths in mm."""

    median: float
    p95: float
    max: float

    @classmethod
    def of(cls, values: Rows) -> Spread:
        """Of values (k,); zeros where there are none."""
        if not len(values):
            return cls(0.0, 0.0, 0.0)
        return cls(*(float(v) for v in (np.median(values), np.percentile(values, 95), values.max())))


@dataclass(frozen=True)
class LoopQuality:
    """The fitted loops against the library's own: the median and the 95th percentile of the change of corner angles in
    degrees, of the ratio of edge lengths, divided by its median, and of the ratio of each face's proportion (its
    longest over its shortest edge) to its own in the library. 1 is no change; half and twice both count as 2.
    """

    angle_median_deg: float
    angle_p95_deg: float
    length_median: float
    length_p95: float
    aspect_median: float
    aspect_p95: float


@dataclass(frozen=True)
class FitReport:
    """Numbers of a fit. Lengths in mm; `landmarks` by name; `levels` by level as `ProjectedLevel.counts` gives them;
    `sound` counts crossing skin, parts through it and skin inside out, `parted` the vertices that moved so that skin
    does not cross. `before` is how far the skin lay off the sculpt before it was laid onto it, where it follows it;
    `not_followed` counts the vertices that do not, by why. `slide` is how far the skin
    may still slide along the sculpt, where that is known; `pinned` names the landmarks that were held;
    `left_out` is how far each landmark lies from where the others put it, the most unlikely first, empty for too
    few. `finer` counts what crosses at each projected level from 1 on.
    """

    scale: float
    turned_deg: float
    distance: Spread
    landmarks: dict[str, float]
    curves: dict[str, float]
    reversed_faces: int
    folded_faces: int
    loops: LoopQuality
    rejected: int
    filled: int
    free: int
    reach_mm: float
    sound: Soundness
    parted: int
    before: Spread
    not_followed: dict[str, int]
    slide: Spread | None = None
    levels: dict[int, dict[str, int]] = field(default_factory=dict)
    sculpt: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    pinned: tuple[str, ...] = ()
    left_out: dict[str, float] = field(default_factory=dict)
    finer: dict[int, LevelCrossing] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """The same as plain dicts, lists and numbers."""
        return asdict(self) | {
            "notes": list(self.notes), "pinned": list(self.pinned),
            "levels": {str(k): v for k, v in self.levels.items()},
            "finer": {str(k): asdict(v) for k, v in self.finer.items()},
        }  # fmt: skip


def fit_report(state: FitState) -> FitReport:
    """The report of a fit whose levels are projected. Distances are those of the skin that is neither free nor
    rejected; rejected vertices are counted, and may lie far from a sculpt that ends there."""
    head, sculpt, pairs, cage = state.head, state.clean.surface, state.pairs, state.levels[0]
    skin = Skin.of(head)
    loops = Loops(skin.polygons, head.neutral[skin.vertices])
    at = np.asarray(cage.positions, dtype=np.float64)
    reversed_, folded = loops.counts(at[skin.vertices])
    on = (np.maximum(state.free, state.mended)[skin.vertices] < 0.5) & ~cage.rejected[skin.vertices]
    own = np.logical_and.reduceat(head.skin[head.polygons.indices], head.polygons.starts[:-1])
    turn = np.degrees(np.arccos(np.clip((np.trace(state.aligned.rotation) - 1) / 2, -1.0, 1.0)))
    return FitReport(
        state.aligned.scale, float(turn), Spread.of(sculpt.closest(at[skin.vertices[on]]).distance),
        _landmark_residuals(head, skin, at, pairs), _curve_residuals(at, pairs), reversed_, folded,
        loop_quality(skin.polygons, head.neutral[skin.vertices], at[skin.vertices]), int(cage.rejected.sum()),
        int(cage.filled.sum()), int((state.free >= 0.5).sum()), state.reach_mm,
        soundness(head, state.marks, at, cage.crossing_of(own)),
        int((state.mended & ~state.worn).sum()), Spread.of(state.off[np.isfinite(state.off)]),
        counted(cage.why[skin.vertices]), _slide(state, skin.vertices[on]),
        {level.k: level.counts for level in state.levels}, dict(state.clean.dropped), state.notes,
        state.options.pinned, _left_out(state), level_crossings(head, state.marks, state.levels),
    )  # fmt: skip


def _slide(state: FitState, vertices: NDArray) -> Spread | None:
    """How far `vertices` may still slide, where earlier heads are known: without them the distance to the nearest
    landmark foretells it as well."""
    return Spread.of(state.bent.slide_mm[vertices]) if state.options.like else None


def _left_out(state: FitState) -> dict[str, float]:
    """How far each landmark lies from where the others put it, mm, the most unlikely first; empty for too few.
    The order is not that of the lengths: behind the ear the others foretell less than beside the mouth.
    """
    bent = state.bent
    order = np.argsort(-bent.unlikely, kind="stable")
    return {state.pairs.names[i]: float(bent.left_out_mm[i]) for i in order}


def _landmark_residuals(head: Head, skin: Skin, at: Rows, pairs: Pairs) -> dict[str, float]:
    """How far each landmark of the fitted cage lies from its place on the sculpt, mm."""
    cage = ClosestSurface(head.neutral[skin.vertices], skin.polygons.triangles)
    found = cage.closest(pairs.head)
    fitted = np.einsum("ij,ijk->ik", found.bary, at[skin.vertices][cage.triangles[found.triangle]])
    known = pairs.vertices >= 0
    fitted[known] = at[pairs.vertices[known]]
    off = np.linalg.norm(fitted - pairs.sculpt, axis=1)
    return {name: float(v) for name, v in zip(pairs.names, off, strict=True)}


def _curve_residuals(at: Rows, pairs: Pairs) -> dict[str, float]:
    """The largest distance of a vertex of each curve from the sculpt's curve, mm, for curves whose places are all
    vertices."""
    furthest = {}
    for name, (_, line, ids) in pairs.curves.items():
        if (ids >= 0).all():
            furthest[name] = float(np.linalg.norm(on_polyline(at[ids], line)[0] - at[ids], axis=1).max())
    return furthest


def loop_quality(polygons: Polygons, reference: Rows, positions: Rows) -> LoopQuality:
    """The loops of `positions` (n, 3) against those of `reference` (n, 3)."""
    corners = Loops(polygons, reference).corners
    before, after = (_angles(v, corners) for v in (reference, positions))
    turn = np.degrees(np.abs(after - before))
    a, b = polygons.edges.T
    ratio = np.linalg.norm(positions[a] - positions[b], axis=1) / np.maximum(
        np.linalg.norm(reference[a] - reference[b], axis=1), 1e-12
    )
    ratio = _either_way(ratio / max(float(np.median(ratio)), 1e-12))
    aspect = _either_way(_proportion(polygons, positions) / _proportion(polygons, reference))
    return LoopQuality(*(float(each) for some in (turn, ratio, aspect) for each in np.percentile(some, [50.0, 95.0])))


def _either_way(ratio: Rows) -> Rows:
    """Ratios (k,) of which half and twice both count as 2."""
    ratio = np.maximum(ratio, 1e-12)
    return np.maximum(ratio, 1 / ratio)


def _proportion(polygons: Polygons, at: Rows) -> Rows:
    """(f,) the longest edge of each face over its shortest."""
    corners = at[polygons.indices]
    length = np.linalg.norm(corners - corners[polygons.next_corner], axis=1)
    first = polygons.starts[:-1]
    return np.maximum.reduceat(length, first) / np.maximum(np.minimum.reduceat(length, first), 1e-12)


def _angles(points: Rows, corners: NDArray) -> Rows:
    a, b, c = (points[corners[:, i]] for i in range(3))
    u, v = a - b, c - b
    size = np.linalg.norm(u, axis=1) * np.linalg.norm(v, axis=1)
    return np.arccos(np.clip((u * v).sum(1) / np.maximum(size, 1e-300), -1.0, 1.0))
