"""What the strip of recipes remembers: what is being renamed, what was copied, and the name of a shape to keep."""

from __future__ import annotations

from dataclasses import dataclass

from composer.mixing.recipe import Recipe


@dataclass
class Recipes:
    """`naming` is the recipe that is being renamed, `name` what is in its field, `fresh` whether the field is new;
    `copied` the recipe whose cells were copied; `keeping` whether the sheet that keeps a shape is asked for, `shape`
    the name in it; `in_sight` the recipe that was scrolled to last; `fault` what is wrong
    with the name that was entered."""

    naming: str = ""
    name: str = ""
    fresh: bool = False
    copied: Recipe | None = None
    keeping: bool = False
    shape: str = ""
    in_sight: str = ""
    fault: str = ""
    shape_fault: str = ""

    def begin_naming(self, name: str) -> None:
        """Open the field in which a recipe is renamed."""
        self.naming, self.name, self.fresh, self.fault = name, name, True, ""
