"""One thing that was checked: a recipe, a place on the way to it, a pair, a shape, or the document itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.mixing.recipe import Recipe

Kind = Literal["recipe", "sweep", "pair", "document", "shape", "frame"]


@dataclass(frozen=True, eq=False)
class Checked:
    """What was checked: its name, vertices (n, 3) mm and findings, worst first; `recipe` gives the pose again, where
    one recipe does."""

    name: str
    positions: NDArray
    findings: Sequence[Finding]
    kind: Kind = "recipe"
    recipe: Recipe | None = None

    def as_dict(self) -> dict[str, object]:
        """Name, cells and findings as plain dicts, lists and numbers."""
        cells = [] if self.recipe is None else [
            {"region": c.region, "shape": c.shape, "weight": c.weight, "mirrored": c.mirrored}
            for c in self.recipe.cells
        ]  # fmt: skip
        return {"name": self.name, "cells": cells, "findings": [finding.as_dict() for finding in self.findings]}
