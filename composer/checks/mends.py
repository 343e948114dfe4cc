"""What mends a finding of a check, where that is known: a wider ramp, a lower cell, the seamless join."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.limits import Limits
from composer.document.project import Project
from composer.edits.recipes import replace_recipe, set_join
from composer.edits.softness import set_softness
from composer.mixing.recipe import ALL, Recipe
from masks.soft_border import WIDEST_MM

LOWERED = 0.75
"""What of the weights is left where no measure says how much is too much. A design choice, no source."""
LEAST_LEFT = 0.2
"""A mend leaves at least this share of the weights. A design choice, no source."""
MEETS = 0.02
"""Two regions meet where both masks are above this. A design choice, no source."""
BORDER = "seam."
"""How the codes of findings at the border of a region begin."""
BY_SCULPT = ("pinch.", "stretch.torn", "flipped.", "folds.", "touch.", "lips.through", "lids.", "parts.", "volume.")
"""How the codes of findings begin that a sculpted fix, kept as a corrective, mends."""


@dataclass(frozen=True)
class Mend:
    """One way to mend a finding: `words` for a button, a `hint` of what it changes, `told` afterwards, and the edit."""

    name: str
    words: str
    hint: str
    told: str
    edit: Callable[[Project], Project]


def mends_of(
    finding: Finding, recipe: Recipe, masks: Mapping[str, NDArray], limits: Limits | None = None
) -> list[Mend]:
    """The ways to mend a finding on a recipe that is in the document, the gentlest first. `masks` (n,) by region."""
    found: list[Mend] = []
    border = finding.code.startswith(BORDER)
    if border and recipe.join == "linear":
        found.append(Mend("seamless", "Join seamlessly", f"{recipe.name} joins its regions seamlessly",
                          f"{recipe.name} joins seamlessly now.", lambda p: set_join(p, recipe.name, "seamless")))
    if finding.ramp_mm > 0.0 and finding.where in masks:
        wide = float(round(min(finding.ramp_mm, WIDEST_MM)))
        found.append(Mend("widen", f"Widen to {wide:g} mm",
                          f"give the border of {finding.where} a ramp of {wide:g} mm, in every recipe",
                          f"The border of {finding.where} is {wide:g} mm wide now.",
                          lambda p: set_softness(p, finding.where, wide)))
    region = region_behind(finding, recipe, masks)
    if region and finding.severity != "note":
        left = _left(finding, limits or Limits()) if border else LOWERED
        percent, regions = round(100.0 * left), moving_together(region, recipe, masks)
        beside = f" and {len(regions) - 1} beside it" if len(regions) > 1 else ""
        shapes = sorted({cell.shape for cell in recipe.cells if cell.region == region})
        found.append(Mend("lower", f"Lower to {percent} %",
                          f"the weights of {', '.join(shapes)} in {region}{beside}, times {percent} percent",
                          f"The cells of {region}{beside} have {percent} percent of their weights.",
                          lambda p: lowered(p, recipe.name, regions, shapes, left)))
    return found


def moving_together(region: str, recipe: Recipe, masks: Mapping[str, NDArray]) -> list[str]:
    """A region and those of the recipe that share a shape with it and lie beside it or beside one another: lowering it
    alone would only tear it off from them."""
    shapes = {cell.shape for cell in recipe.cells if cell.region == region}
    left = {cell.region for cell in recipe.cells if cell.shape in shapes and cell.region in masks} - {region}
    group = [region]
    for name in group:
        if name in masks:
            beside = [r for r in sorted(left) if float(np.minimum(masks[name], masks[r]).max()) > MEETS]
            group += beside
            left -= set(beside)
    return group


def region_behind(finding: Finding, recipe: Recipe, masks: Mapping[str, NDArray]) -> str:
    """The region of a recipe whose cells do most where a finding is: its own, or the one with most weight at its
    places; "" where none has any."""
    moving = {cell.region for cell in recipe.cells if cell.weight != 0.0}
    if finding.where in moving:
        return finding.where
    best, most = "", 0.05
    for name in (cell.region for cell in recipe.cells):
        if name in moving and name in masks and len(finding.vertices):
            weight = float(np.mean(masks[name][finding.vertices]))
            if weight > most:
                best, most = name, weight
    return best or (ALL if ALL in moving and len(finding.vertices) else "")


def lowered(project: Project, recipe: str, regions: Sequence[str], shapes: Sequence[str], share: float) -> Project:
    """The recipe with the weights of some shapes in some regions times `share`. Raises MoueError for an unknown
    recipe."""
    held = project.recipe(recipe)
    cells = tuple(
        replace(cell, weight=round(cell.weight * share, 3)) if cell.region in regions and cell.shape in shapes else cell
        for cell in held.cells
    )
    return replace_recipe(project, recipe, held.with_(cells=cells))


def _left(finding: Finding, limits: Limits) -> float:
    """The share of the weights at which a border is just below the limit: its strain grows with the weight."""
    worst = max(finding.value / 100.0, 1e-9)
    return float(np.clip(0.92 * limits.seam_warning / worst, LEAST_LEFT, 0.95))


def by_sculpt(finding: Finding) -> bool:
    """Whether a sculpted fix, taken back as a corrective, is a way to mend a finding."""
    return finding.severity != "note" and finding.code.startswith(BY_SCULPT)
