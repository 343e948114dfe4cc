"""Regions of a face from its landmarks: every region grows from seeds, and where two meet, they share.

Each seed is a landmark, a line of them or a curve, with a radius. A region's score at a vertex is the least of
(distance along the surface to a seed, minus the seed's radius): below 0 within its reach. Where the scores of two
regions are equal lies the border between them, an additively weighted Voronoi diagram on the surface (Aurenhammer
1991, "Voronoi diagrams", section 3.1.2); where no score is below 0 the face goes over into the remainder. Weights are
smoothsteps of the distance from those borders, scaled to sum to one together with the remainder. Nothing grows
through the bag of the mouth or the sockets of the eyes, and a lip never reaches the other lip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.geometry.marching import Marching
from composer.geometry.surface import Floats, Surface
from masks.combine import split_sides
from masks.face_frame import FaceFrame, face_frame
from masks.face_hollows import LIP_CURVES, Hollows, find_hollows, part_lips
from masks.from_loops import enclosed
from masks.landmark_places import Marks, Need, any_of, each_of
from masks.region_preset import LEFT, SIDES, RegionPreset, RegionSet
from masks.soften import smoothstep

DEEP = -1e3
"""Score well within a loop, mm: no seed reaches there against it."""


@dataclass(frozen=True, eq=False)
class LandmarkRegions:
    """`masks` {region: (n,)}, in the preset's order; `left_out` {region: why}; `notes`, what was gone by or could
    only be done in part, one sentence each.
    """

    masks: dict[str, Floats]
    left_out: dict[str, str]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Region:
    """One region to grow: from which preset, and for which side ("" where it has none or is cut afterwards)."""

    name: str
    preset: RegionPreset
    side: str


def from_landmarks(
    surface: Surface,
    preset: RegionSet,
    points: Mapping[str, ArrayLike],
    curves: Mapping[str, ArrayLike],
    skin: ArrayLike | None = None,
) -> LandmarkRegions:
    """Masks of a preset's regions on one face.

    `points` {name: (3,) position in mm}; `curves` {name: vertices (k,) or positions (k, 3)}; `skin` (n,) bool, the
    vertices that are not parts (all, unless said). What lacks landmarks is made from those that are there; a region
    with none is left out, and `left_out` says what it needs. Raises MoueError where shapes do not fit.
    """
    n = surface.n_vertices
    on_skin = np.ones(n, dtype=bool) if skin is None else np.asarray(skin, dtype=bool)
    if on_skin.shape != (n,) or not on_skin.any():
        raise MoueError("the skin must be one flag a vertex, and some vertex must be skin")
    marks = Marks(surface, points, curves, on_skin)
    frame = face_frame(surface, marks.points, preset.interpupillary_mm)
    notes = [f"the face's size was taken from {frame.words}: {frame.scale:.2f} of the preset's"]
    hollows = find_hollows(surface, marks.curves, notes)
    marching = Marching(surface, hollows.rims | hollows.inside | ~on_skin)
    grown: list[_Region] = []
    scores: list[Floats] = []
    left_out: dict[str, str] = {}
    for region in _to_grow(preset):
        score, missing = _score(region, marks, marching, frame.scale)
        if score is None:
            for name in region.preset.names if region.preset.sides == "split" else (region.name,):
                left_out[name] = f"the {name} region needs {any_of(missing)}"
            continue
        if missing:
            notes.append(f"the {region.name} region is made without {each_of(missing)}")
        grown.append(region)
        scores.append(score)
    weights = _shared(scores, [region.preset.ramp_mm * frame.scale for region in grown], n)
    weights = _kept_off_other_lip(surface, marks, hollows, grown, weights, frame.scale, notes)
    masks = _finished(surface, preset, grown, weights, hollows, frame, on_skin)
    return LandmarkRegions(
        {name: masks[name] for name in preset.names if name in masks}, left_out, tuple(notes)
    )


def _to_grow(preset: RegionSet) -> list[_Region]:
    regions: list[_Region] = []
    for one in preset.regions:
        if one.sides == "pair":
            regions += [_Region(one.name + side, one, side) for side in SIDES]
        else:
            regions.append(_Region(one.name, one, ""))
    return regions


def _score(
    region: _Region, marks: Marks, marching: Marching, scale: float
) -> tuple[Floats | None, list[Need]]:
    """(n,) distance to the nearest seed minus its reach, inf beyond where it matters; and the landmarks missing."""
    vertices: list[NDArray] = []
    heads: list[NDArray] = []
    missing: list[Need] = []
    if region.preset.loop:
        ring = marks.curve(region.preset.loop, region.side)
        within = None
        if ring is not None and len(ring) > 2:
            try:
                within = enclosed(marks.surface, ring)
            except MoueError:
                within = None
        if within is not None and ring is not None:
            return _signed(marching, within, ring, 0.5 * region.preset.ramp_mm * scale), missing
        missing.append(frozenset([f"the curve {region.preset.loop}{region.side}, closed"]))
    for seed in region.preset.seeds:
        found, lacking = marks.seed(seed, region.side)
        missing += lacking
        if found is not None:
            vertices.append(found[0])
            heads.append(found[1] - seed.radius_mm * scale)
    if not vertices:
        return None, missing
    start = np.concatenate(vertices)
    if not len(start):
        return None, missing or [frozenset(["a place on the skin"])]
    limit = 0.5 * region.preset.ramp_mm * scale + marks.surface.mean_edge_mm
    return marching.from_vertices(start, limit, np.concatenate(heads)), missing


def _signed(marching: Marching, within: NDArray, ring: NDArray, limit: float) -> Floats:
    """(n,) distance from a loop, negative within; beyond `limit` DEEP within, inf outside."""
    away = marching.from_vertices(ring, limit)
    return np.where(within, np.where(np.isfinite(away), -away, DEEP), away)


def _shared(scores: list[Floats], ramps: list[float], n: int) -> Floats:
    """(r, n) weights from scores (n,) each: smoothsteps of the distance from each border, scaled so that together
    with what lies outside they sum to one.
    """
    weights = np.zeros((len(scores), n))
    reach = [np.flatnonzero(np.isfinite(score)) for score in scores]
    best = np.full(n, np.inf)
    outer = np.zeros(n)
    for score, at, ramp in zip(scores, reach, ramps, strict=True):
        nearer = score[at] < best[at]
        best[at[nearer]] = score[at[nearer]]
        outer[at[nearer]] = ramp
    outside = np.ones(n)
    known = np.isfinite(best)
    outside[known] = smoothstep(best[known] / outer[known] + 0.5)
    for r, (score, at, ramp) in enumerate(zip(scores, reach, ramps, strict=True)):
        mine = score[at]
        weight = smoothstep(0.5 - mine / ramp)
        for q, (other, width) in enumerate(zip(scores, ramps, strict=True)):
            if q != r:
                inward = (other[at] - mine) / 2
                np.minimum(weight, smoothstep(inward / min(ramp, width) + 0.5), out=weight)
        weights[r, at] = weight
    return weights / np.maximum(weights.sum(axis=0) + outside, 1e-12)


def _kept_off_other_lip(
    surface: Surface,
    marks: Marks,
    hollows: Hollows,
    grown: list[_Region],
    weights: Floats,
    scale: float,
    notes: list[str],
) -> Floats:
    """Weights (r, n) with the regions of one lip brought to nothing on the other; what they lose goes to the other
    regions there.
    """
    lipped = [r for r, region in enumerate(grown) if region.preset.lip]
    if not lipped:
        return weights
    lips = part_lips(surface, marks.curves, hollows)
    if lips is None:
        needed = f"{', '.join(LIP_CURVES[:-1])} and {LIP_CURVES[-1]}"
        notes.append(f"the lips are not kept apart: that needs the curves {needed}")
        return weights
    marching = Marching(surface, hollows.rims | hollows.inside)
    for side, other in (("upper", "lower"), ("lower", "upper")):
        mine = [r for r in lipped if grown[r].preset.lip == side]
        if not mine or not lips[other].any():
            continue
        ramp = 0.5 * min(grown[r].preset.ramp_mm for r in mine) * scale
        away = marching.from_vertices(np.flatnonzero(lips[other]), ramp)
        factor = np.where(lips[other], 0.0, smoothstep(np.minimum(away, ramp) / ramp))
        lost = (weights[mine] * (1.0 - factor)).sum(axis=0)
        weights[mine] *= factor
        others = [r for r in range(len(grown)) if r not in mine]
        total = weights[others].sum(axis=0)
        gain = np.ones_like(total)
        np.divide(total + lost, total, out=gain, where=total > 1e-9)
        weights[others] *= gain
    return weights


def _finished(
    surface: Surface,
    preset: RegionSet,
    grown: list[_Region],
    weights: Floats,
    hollows: Hollows,
    frame: FaceFrame,
    skin: NDArray,
) -> dict[str, Floats]:
    masks: dict[str, Floats] = {}
    side = frame.side_mm(surface.positions)
    for region, weight in zip(grown, weights, strict=True):
        whole = hollows.filled(np.clip(weight, 0.0, 1.0), preset.interior_fade_mm * frame.scale)
        whole = np.where(skin, whole, 0.0)
        if region.preset.sides == "split":
            left, right = split_sides(whole, side, preset.midline_ramp_mm * frame.scale)
            masks[region.name + LEFT], masks[region.name + SIDES[1]] = left, right
        else:
            masks[region.name] = whole
    return masks
