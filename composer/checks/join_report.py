"""What a seamless join does for a recipe: the strain of three joins side by side, and what the join costs.

Why it matters: a join that spares the skin moves it. A person who chooses must see both. Strain counts only in
excess of what the rows that meet do by themselves; it is taken on the ramps and half their width beside them, the
same triangles for every join: linear, linear on ramps widened to what the seamless join may use, and seamless.

The bound: what has to meet over a width makes a straight line across it |n + mismatch / width| times as long,
whatever the join; what the sources do not stretch by themselves is excess. The mismatch is the jump of the movement
across the ramp, from the part of the gradient that the masks' slopes bring in: J = sum R (grad g)^T, and J grad g /
|grad g|^2 for the mask whose ramp it is. The bound holds for a ramp that stands alone: where ramps adjoin, a join has
the room of both.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.errors import MoueError
from composer.geometry.surface import factorise
from composer.geometry.triangle_metric import metric, stretches, triangle_vectors
from composer.geometry.vectors import unit_rows
from composer.mixing.linear import Mixer
from composer.mixing.recipe import ALL, Recipe
from composer.mixing.seamless import SeamlessJoin, further_than_linear
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import zone_of

Floats = NDArray[np.float64]

BESIDE = 0.5
"""Strain is taken on the ramps and this fraction of their width beside them."""
SLOPE = 0.3
"""A ramp is steep where more than this has to meet over its width, mm per mm."""
VISIBLE_MM = 0.05


@dataclass(frozen=True)
class JoinStrain:
    """One join's strain in excess of its sources' envelope, in percent: the 95th percentile by area, the largest;
    and how many triangles it turns over that no source does."""

    p95: float
    most: float
    flips: int


@dataclass(frozen=True)
class SteepRamp:
    """The region whose ramp is steepest, all in mm: what has to meet, over what width, and the width it needs."""

    region: str
    mismatch_mm: float
    width_mm: float
    needed_mm: float
    bound: float

    @property
    def ratio(self) -> float:
        """Mismatch over width."""
        return self.mismatch_mm / self.width_mm

    @property
    def steep(self) -> bool:
        """Whether a wider ramp is to be suggested."""
        return self.ratio > SLOPE


@dataclass(frozen=True)
class JoinReport:
    """The figures of one recipe. `widened` is the linear join on ramps as wide as the seamless join's zone.

    `bound` of the steepest ramp is the excess in percent that its mismatch over ramp and halo, were they alone, imposes
    on any join;
    `outside_mm` how far the furthest vertex outside the ramps moved, `outside` how many moved visibly there, and
    `inside_mm` the same on the ramps; `edge_jump_deg` the 95th percentile of how much an edge of the zone is bent
    more than by the linear join; `kept` the share in percent of the linear join's movement that is left where it is
    large, in the median. `left_out` says in words what fell back to the linear join.
    """

    recipe: str
    halo: float
    linear: JoinStrain
    widened: JoinStrain
    seamless: JoinStrain
    ramp: SteepRamp | None
    inside_mm: float
    outside_mm: float
    outside: int
    edge_jump_deg: float
    kept: float
    left_out: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The report as plain values, for JSON."""
        return asdict(self)

    def words(self) -> Iterator[str]:
        """The report in lines."""
        if self.ramp is None:
            yield f"{self.recipe}: every join gives the same"
            yield from (f"  {line}" for line in self.left_out)
            return
        yield f"{self.recipe}: strain beyond its shapes' own, p95 and largest, and faces turned over"
        for name in ("linear", "widened", "seamless"):
            one: JoinStrain = getattr(self, name)
            yield f"  {name:<9} {one.p95:6.1f} %  {one.most:6.1f} %  {one.flips}"
        ramp = self.ramp
        yield (
            f"  steepest: {ramp.region}, {ramp.mismatch_mm:.1f} mm meet within {ramp.width_mm:.1f} mm; alone, this "
            f"ramp and its halo would cost any join {ramp.bound:.0f} %"
        )
        if ramp.steep:
            yield f"  a ramp of {ramp.needed_mm:.0f} mm would do"
        yield (
            f"  the join moves up to {self.inside_mm:.2f} mm on the ramps, {self.outside_mm:.2f} mm outside, "
            f"{self.outside} vertices; it keeps {self.kept:.0f} % of the movement; its edge bends by "
            f"{self.edge_jump_deg:.1f} degrees"
        )
        for line in self.left_out:
            yield f"  {line}"


def join_reports(evaluated: EvaluatedDocument, recipes: Iterable[Recipe]) -> Iterator[JoinReport]:
    """The report of each recipe, as if it asked for the seamless join. Raises MoueError as
    `EvaluatedDocument.check`."""
    for recipe in recipes:
        yield join_report(evaluated, recipe)


def join_report(evaluated: EvaluatedDocument, recipe: Recipe) -> JoinReport:
    """The figures of one recipe, whichever join it asks for. Raises MoueError as `EvaluatedDocument.check`."""
    evaluated.check(recipe)
    return compare_joins(evaluated.mixer, evaluated.seamless_join(recipe), recipe)


def compare_joins(mixer: Mixer, join: SeamlessJoin, recipe: Recipe) -> JoinReport:
    """The figures of one recipe, by a join that is prepared for its regions.

    Raises MoueError for what cannot be mixed, and for a shape with places that are not numbers.
    """
    neutral, left_out = mixer.head.neutral, tuple(_left_out(join))
    if not len(join.zone.free):
        none = JoinStrain(0.0, 0.0, 0)
        return JoinReport(recipe.name, recipe.halo, none, none, none, None, 0.0, 0.0, 0, 0.0, 100.0, left_out)
    shares, rows = mixer.shares(recipe), mixer.rows(recipe)
    broken = next((region for region, row in rows.items() if not np.isfinite(row).all()), None)
    if broken is not None:
        raise MoueError(f"recipe {recipe.name!r}: a shape of the row {broken!r} has places that are not numbers")
    linear, further = mixer.displacement(recipe), further_than_linear(mixer, join, recipe)
    seamless = linear.copy()
    mixer.standing.add_to(seamless, join.zone.free, further)
    sources = [recipe.strength * source for source in _sources(recipe, shares, rows)]
    beside = Envelope(neutral, sources, _about(join))
    moved, outside = np.linalg.norm(seamless - linear, axis=1), join.outside(further)
    return JoinReport(
        recipe=recipe.name,
        halo=recipe.halo,
        linear=beside.strain(neutral + linear),
        widened=beside.strain(neutral + linear + recipe.strength * _widening(join, shares, rows)),
        seamless=beside.strain(neutral + seamless),
        ramp=_steepest(join, recipe.strength, shares, rows, sources),
        inside_mm=float(moved[join.zone.ramp].max(initial=0.0)),
        outside_mm=float(outside.max(initial=0.0)),
        outside=int((outside > VISIBLE_MM).sum()),
        edge_jump_deg=edge_jump(join, neutral + linear, neutral + seamless),
        kept=_kept(join, linear, seamless),
        left_out=left_out,
    )


def _left_out(join: SeamlessJoin) -> Iterator[str]:
    skin = join.skin
    held = int(join.zone.beside.sum())
    if held:
        yield (
            f"{held} vertices there are as in the linear join: parts, and the corners of {skin.n_slivers} slivers and "
            f"{skin.n_inverted} inverted faces of the neutral"
        )
    if join.zone.loose:
        yield f"{join.zone.loose} vertices are as in the linear join: all of their piece of the surface is ramp"
    flat = [region for region, ramp in join.ramps.items() if not ramp.touches.any()]
    if flat:
        yield f"no ramp on {', '.join(flat[:6])}" + (f" and {len(flat) - 6} more" if len(flat) > 6 else "")
    if not join.ramps:
        yield "it uses no region"


def _sources(recipe: Recipe, shares: dict[str, Floats], rows: dict[str, Floats]) -> list[Floats]:
    """(n, 3) mm, the movements that meet: the base row, and each region's own, with the base where it adds."""
    base = rows.get(ALL)
    found = [] if base is None else [base]
    for region, row in rows.items():
        if region != ALL:
            found.append(row)
            if base is not None and recipe.row(region).kind == "add":
                found.append(row + shares[ALL][:, None] * base)
    return found


def _widening(join: SeamlessJoin, shares: dict[str, Floats], rows: dict[str, Floats]) -> Floats:
    """(n, 3) mm, what the linear join changes when its ramps are widened over the join's zone.

    Shares diffuse over the halo's width, held outside the zone, which makes of a smoothstep within 0.03 the
    smoothstep over ramp and halo (its steepest slope 0.94 instead of 0.90 over the ramp's width).
    """
    further = np.zeros((join.skin.n_vertices, 3))
    if join.halo == 0.0:
        return further
    free, zone = join.zone.free, join.zone
    slopes = join.skin.laplacian[free]
    time = (join.halo * zone.width[free]) ** 2
    factor = factorise(slopes[:, free] + sp.diags(join.skin.mass[free] / time))
    for region, row in rows.items():
        further[free] -= factor.solve(slopes @ shares[region])[:, None] * row[free]
    return further


def _kept(join: SeamlessJoin, linear: NDArray, seamless: NDArray) -> float:
    """The median, in percent, of the linear movement (n, 3) that is left, over the quarter of the zone that it moves
    furthest."""
    one, other = linear[join.zone.free], seamless[join.zone.free]
    squared = np.einsum("ij,ij->i", one, one)
    far = (squared >= np.quantile(squared, 0.75)) & (squared > 0.0)
    if not far.any():
        return 100.0
    return float(100.0 * np.median(np.einsum("ij,ij->i", one[far], other[far]) / squared[far]))


class Envelope:
    """How far some movements stretch some triangles, and where they turn them: what a join's strain exceeds."""

    def __init__(self, neutral: NDArray, sources: Sequence[NDArray], triangles: NDArray) -> None:
        """Take the neutral (n, 3), displacements `sources` (n, 3) in mm, rest being one too, and triangles (t, 3)."""
        self.triangles = triangles
        self.rest = metric(neutral, self.triangles)
        self.areas = 0.5 * np.sqrt(np.maximum(self.rest[0] * self.rest[2] - self.rest[1] ** 2, 0.0))
        self.top, self.bottom = np.ones(len(self.triangles)), np.ones(len(self.triangles))
        self.facing = [_normals(neutral, self.triangles)]
        for source in sources:
            there = neutral + source
            alone = stretches(self.rest, metric(there, self.triangles))
            np.maximum(self.top, alone[:, 0], out=self.top)
            np.minimum(self.bottom, alone[:, 1], out=self.bottom)
            self.facing.append(_normals(there, self.triangles))

    def excess(self, longest: NDArray, shortest: NDArray) -> Floats:
        """(t,) how far stretches go beyond the sources' own: 0.2 is 0.2 longer or 0.2 shorter; never below 0."""
        longer = longest / self.top - 1.0
        shorter = np.maximum(self.bottom, 1e-3) / np.maximum(shortest, 1e-3) - 1.0
        return np.asarray(np.maximum(np.maximum(longer, shorter), 0.0))

    def strain(self, pose: NDArray) -> JoinStrain:
        """The strain of a pose (n, 3)."""
        excess = self.excess(*stretches(self.rest, metric(pose, self.triangles)).T)
        normals = _normals(pose, self.triangles)
        over = np.all([np.einsum("ij,ij->i", normals, each) < 0.0 for each in self.facing], axis=0)
        p95, most = weighted_quantile(excess, self.areas, 0.95), float(excess.max(initial=0.0))
        return JoinStrain(100.0 * p95, 100.0 * most, int(over.sum()))


def _about(join: SeamlessJoin) -> NDArray[np.int32]:
    """(t, 3) the triangles on and beside the ramps, every diagonal of them."""
    near = np.zeros(join.skin.n_vertices, dtype=bool)
    near[zone_of(join.skin, list(join.ramps.values()), BESIDE).free] = True
    triangles = join.skin.surface.fans[0]
    return triangles[near[triangles].all(axis=1)]


def _normals(positions: NDArray, triangles: NDArray) -> Floats:
    return unit_rows(triangle_vectors(positions, triangles))


def weighted_quantile(values: NDArray, weights: NDArray, q: float) -> float:
    """The least value below or at which a share `q` of the weights lies; 0 of nothing."""
    if not len(values) or not weights.sum() > 0:
        return 0.0
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    return float(values[order[min(int(np.searchsorted(reached, q * reached[-1])), len(values) - 1)]])


def _steepest(
    join: SeamlessJoin, strength: float, shares: dict[str, Floats], rows: dict[str, Floats], sources: list[Floats]
) -> SteepRamp | None:
    """The region with the largest mismatch over its ramp's width; None where none has a ramp."""
    surface = join.skin.surface
    triangles = surface.triangles[join.zone.ramp[surface.triangles].any(axis=1)]
    envelope = Envelope(surface.positions, sources, triangles)
    hats = _hats(surface.positions[triangles])
    jump = np.zeros((len(triangles), 3, 3))
    for region, row in rows.items():
        slope = np.einsum("ti,tid->td", shares[region][triangles], hats)
        jump += strength * row[triangles].mean(axis=1)[:, :, None] * slope[:, None, :]
    worst: SteepRamp | None = None
    for region, ramp in join.ramps.items():
        if not ramp.width_mm > 0:
            continue
        slope = np.einsum("ti,tid->td", ramp.mask[triangles], hats)
        squared = np.einsum("td,td->t", slope, slope)
        steep = squared > (0.5 / ramp.width_mm) ** 2
        if not steep.any():
            continue
        across = unit_rows(slope[steep])
        apart = np.einsum("tij,tj->ti", jump[steep], slope[steep]) / squared[steep, None]
        mismatch = weighted_quantile(np.linalg.norm(apart, axis=1), envelope.areas[steep], 0.95)
        long = np.ones(len(triangles))
        long[steep] = np.linalg.norm(across + apart / (ramp.width_mm * (1.0 + 2.0 * join.halo)), axis=1)
        bound = weighted_quantile(envelope.excess(long, long)[steep], envelope.areas[steep], 0.95)
        found = SteepRamp(region, mismatch, ramp.width_mm, mismatch / SLOPE, 100.0 * bound)
        if worst is None or found.ratio > worst.ratio:
            worst = found
    return worst


def _hats(corners: Floats) -> Floats:
    """(t, 3, 3) the gradient of the hat function of each corner of triangles (t, 3, 3), per mm; 0 on slivers."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    squared = np.einsum("ij,ij->i", normal, normal)
    safe = np.where(squared > 1e-20, squared, np.inf)
    hats = np.empty_like(corners)
    for i in range(3):
        hats[:, i] = np.cross(normal, corners[:, (i + 2) % 3] - corners[:, (i + 1) % 3]) / safe[:, None]
    return hats


def edge_jump(join: SeamlessJoin, linear: NDArray, pose: NDArray) -> float:
    """The 95th percentile, in degrees, of how much the edges of a join's zone are bent more in a pose than in the
    linear one (n, 3)."""
    polygons = join.skin.surface.polygons
    inside = np.zeros(join.skin.n_vertices, dtype=bool)
    inside[join.zone.free] = True
    touched = np.zeros(polygons.n_faces, dtype=bool)
    touched[polygons.corner_face[inside[polygons.indices]]] = True
    order = np.argsort(polygons.corner_edge, kind="stable")
    edge, face = polygons.corner_edge[order], polygons.corner_face[order]
    pair = np.flatnonzero((edge[1:] == edge[:-1]) & (polygons.edge_use[edge[1:]] == 2))
    one, other = face[pair], face[pair + 1]
    rim = touched[one] != touched[other]
    if not rim.any():
        return 0.0
    ends = polygons.edges[edge[pair[rim]]]
    bent = [_bend(join.skin, each, one[rim], other[rim], ends) for each in (linear, pose)]
    away = np.abs((bent[1] - bent[0] + 180.0) % 360.0 - 180.0)
    return float(np.quantile(away, 0.95))


def _bend(skin: SeamlessSurface, pose: NDArray, one: NDArray, other: NDArray, ends: NDArray) -> Floats:
    """(k,) signed angle in degrees between faces `one` and `other` about the edges `ends` (k, 2)."""
    normals = skin.surface.at(pose).face_normals
    turn = np.cross(normals[one], normals[other])
    along = unit_rows(pose[ends[:, 1]] - pose[ends[:, 0]])
    cosine = np.einsum("ij,ij->i", normals[one], normals[other])
    return np.asarray(np.degrees(np.arctan2(np.einsum("ij,ij->i", turn, along), cosine)))
