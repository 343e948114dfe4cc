"""The seamless join on the demo head after a weight or a region has changed, beside the linear join.

The ramps of eight regions cover a brow, a forehead and half a mouth. The note has the strain of the joins, which has
goals too: where the linear join's is above 10 percent, at most 0.6 of it and at most 0.9 of that of wider ramps; no
edge bent by more than 10 degrees; and no more polygons turned over.
"""

from __future__ import annotations

from dataclasses import replace

from composer.bench.demo_surface import demo_head
from composer.bench.measure import Row, measure
from composer.checks.join_report import JoinReport, compare_joins
from composer.head.presets import lay_regions, region_set
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe
from composer.mixing.seamless import SeamlessJoin, seamless_displacement
from composer.mixing.seamless_surface import SeamlessSurface
from composer.mixing.seamless_zone import ramp_of
from masks.partition import effective_masks

READY_MS = 60.0
BROW = ("brow_inner_left", "brow_outer_left", "forehead_left")
MOUTH = ("mouth_corner_right", "upper_lip_right", "lower_lip_right", "cheek_right", "cheek_lower_right")


def rows() -> list[Row]:
    """Both at most 60 ms; the second also computes the last region's ramp, the zone and the factor."""
    head = demo_head(1, shapes=True)
    raw = dict(lay_regions(head, region_set("face")).masks)
    masks = dict(zip(raw, effective_masks(list(raw.values())), strict=True))
    used = {region: masks[region] for region in (*BROW, *MOUTH)}
    cells = [Cell(region, "surprise", 0.9) for region in BROW] + [Cell(region, "joy", 0.6) for region in MOUTH]
    recipe = Recipe("bench", tuple(cells), join="seamless")
    mixer, skin = Mixer(head, masks), SeamlessSurface(head.surface, head.skin)
    ramps = {region: ramp_of(skin, mask) for region, mask in used.items()}
    join = SeamlessJoin(skin, used, ramps=ramps)

    def new_weights() -> object:
        return seamless_displacement(mixer, join, recipe)

    def new_region() -> object:
        known = {region: ramp for region, ramp in ramps.items() if region != MOUTH[-1]}
        return seamless_displacement(mixer, SeamlessJoin(skin, used, ramps=known), recipe)

    def linear() -> object:
        return mixer.displacement(recipe)

    report = compare_joins(mixer, join, recipe)
    size = f"{head.n_vertices:,} vertices, {len(join.zone.free):,} of them free"
    weights = measure("seamless join, new weights", new_weights, "linear join", linear, most_ms=READY_MS)
    region = measure(
        "seamless join, a new region", new_region, "linear join", linear, repeats=15, most_ms=READY_MS
    )  # fmt: skip
    goal = weights.goal + ", strain <= 0.6x, <= 0.9x widened"
    note = f"{size}; {_strain(report)}"
    return [replace(weights, note=note, goal=goal, holds=weights.holds and _good(report)), region]


def _strain(report: JoinReport) -> str:
    joins = ", ".join(f"{name} {getattr(report, name).p95:.1f} %" for name in ("linear", "widened", "seamless"))
    return f"strain beyond its shapes, p95: {joins}; edge bent by {report.edge_jump_deg:.1f} degrees"


def _good(report: JoinReport) -> bool:
    linear, widened, seamless = report.linear, report.widened, report.seamless
    spared = linear.p95 <= 10.0 or (seamless.p95 <= 0.6 * linear.p95 and seamless.p95 <= 0.9 * widened.p95)
    return spared and report.edge_jump_deg <= 10.0 and seamless.flips <= linear.flips
