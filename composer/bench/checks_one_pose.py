"""All checks on one pose of the demo head, beside copying the pose's vertices."""

from __future__ import annotations

from composer.bench.demo_surface import demo_head
from composer.bench.measure import Row, measure
from composer.checks.registry import run_checks
from composer.checks.subject import CheckSubject, HeadFacts
from composer.head.presets import lay_regions, region_set
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe


def rows() -> list[Row]:
    """At most 100 ms, with the facts of the head computed before."""
    head = demo_head(1, shapes=True)
    masks = dict(lay_regions(head, region_set("face")).masks)
    cells = [("all", "au26", 0.4), ("brow_inner_left", "surprise", 0.8), ("mouth_corner_left", "joy", 0.7),
             ("mouth_corner_right", "joy", 0.3), ("cheek_left", "joy", 0.7),
             ("upper_lid_left", "au43_left", 0.9)]  # fmt: skip
    recipe = Recipe("bench", tuple(Cell(*cell) for cell in cells))
    pose = Mixer(head, masks).pose(recipe)
    facts = HeadFacts(head)

    def check() -> object:
        return run_checks(CheckSubject(facts, pose, "bench", recipe, masks))

    name = f"all checks, {head.n_vertices:,} vertices"
    return [measure(name, check, "one copy of the pose", pose.copy, repeats=10, most_ms=100.0)]
