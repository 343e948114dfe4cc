"""Solo, mute and lock: what is hidden from view or protected from edits, none of it stored in the document.

A cell, a column (shape) or a row (region) can each be soloed, muted or locked. Solo shows only what is soloed,
mute leaves out; both change what is seen, never what is baked. Lock keeps edits away.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

from composer.mixing.recipe import Cell, CellKey, Recipe

Mark = tuple[str, str]
"""("row", region), ("column", shape) or ("cell", "region x shape x mirrored")."""


def marks_of(key: CellKey) -> tuple[Mark, Mark, Mark]:
    """The three marks that bear on a cell."""
    region, shape, mirrored = key
    return ("row", region), ("column", shape), ("cell", f"{region}\n{shape}\n{mirrored:d}")


@dataclass
class Held:
    """The marks now set."""

    solo: set[Mark] = field(default_factory=set)
    mute: set[Mark] = field(default_factory=set)
    lock: set[Mark] = field(default_factory=set)

    def toggle(self, which: str, mark: Mark) -> None:
        """Set a mark, or take it away."""
        marks: set[Mark] = getattr(self, which)
        marks.symmetric_difference_update({mark})

    def forget_but(self, regions: Collection[str], shapes: Collection[str]) -> None:
        """Take away the marks of regions and shapes that are no longer there, which would hide all the rest."""
        for marks in (self.solo, self.mute, self.lock):
            for mark in list(marks):
                kind, name = mark
                region, shape = {"row": (name, ""), "column": ("", name)}.get(kind) or name.split("\n")[:2]
                if (region and region not in regions) or (shape and shape not in shapes):
                    marks.discard(mark)

    def shows(self, key: CellKey) -> bool:
        """Whether a cell is seen."""
        marks = set(marks_of(key))
        return not marks & self.mute and (not self.solo or bool(marks & self.solo))

    def locked(self, key: CellKey) -> bool:
        """Whether edits must leave a cell alone."""
        return bool(set(marks_of(key)) & self.lock)

    def shown(self, recipe: Recipe) -> Recipe:
        """The recipe as it is seen: cells that are not shown stand at 0."""
        if not self.solo and not self.mute:
            return recipe
        cells = tuple(c if self.shows(c.key) else Cell(c.region, c.shape, 0.0, c.mirrored) for c in recipe.cells)
        return recipe if cells == recipe.cells else recipe.with_(cells=cells)

    @property
    def hides(self) -> bool:
        """Whether solo or mute may hide anything."""
        return bool(self.solo or self.mute)
