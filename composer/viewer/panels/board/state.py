"""How the board stands: which rows and columns are shown, what is dragged, and what is typed."""

from __future__ import annotations

from dataclasses import dataclass

from composer.edits.several_cells import named_so
from composer.mixing.recipe import ALL, Cell, CellKey
from composer.viewer.session.stage import Stage


@dataclass
class Board:
    """`drag` is the cell that is held, where the pointer was (x, window points) and the cells that go along, as they
    were; `picked` the cells that are selected besides the chosen one, `of` the recipe that they are in; `search` the
    words by which rows and columns are found; `typing` the cell whose weight is typed, `typed` what is in the field,
    `fault` why that was refused, `focused` whether the field has had the keyboard; `menu` what the open menu is about,
    as `row_menu` takes it, `asking` whether a key has asked for it; `followed` the cell that was scrolled to last;
    `pointed` the region and the shape of the cell under the pointer, None where it is over none; `walked` whether the
    keyboard has walked to the cells, `walks_back` whether it goes back to them once nothing is typed any more."""

    used_rows: bool = True
    used_columns: bool = True
    mirrored: bool = False
    drag: tuple[CellKey, float, tuple[Cell, ...]] | None = None
    picked: frozenset[CellKey] = frozenset()
    of: str = ""
    search: str = ""
    typing: CellKey | None = None
    typed: str = ""
    fault: str = ""
    focused: bool = False
    menu: str = ""
    asking: bool = False
    followed: tuple[str, str] = ("", "")
    pointed: tuple[str, str] | None = None
    walked: bool = False
    walks_back: bool = False

    def rows(self, stage: Stage) -> list[str]:
        """Regions shown: the base row, those that the recipe uses and the chosen one; all when asked."""
        session = stage.opened
        names, search = session.region_names, self._found(stage)
        if search is not None:
            return [name for name in names if name in search[0]]
        if not self.used_rows:
            return names
        used = set(stage.seen_recipe.regions) | {ALL, session.region}
        return [name for name in names if name in used]

    def columns(self, stage: Stage) -> list[str]:
        """Shapes shown: those that the recipe uses and the chosen one; all when asked, hidden ones left out."""
        session = stage.opened
        used = {cell.shape for cell in stage.seen_recipe.cells} | {session.shape}
        hidden = {n for n, entry in session.project.shapes.items() if entry.get("hidden")}
        names, search = session.head.shape_names, self._found(stage)
        if search is not None:
            used = set(names) if not self.used_columns else used
            return [n for n in names if n in search[1] and n in used]
        return [n for n in names if n in used or (not self.used_columns and n not in hidden)]

    def _found(self, stage: Stage) -> tuple[set[str], set[str]] | None:
        """Regions and shapes that the search finds; None where nothing is searched for."""
        session = stage.opened
        if not self.search.strip():
            return None
        labels = {name: str(entry.get("label", "")) for name, entry in session.project.shapes.items()}
        return named_so(session.recipe, self.search, session.region_names, session.head.shape_names, labels)

    def key_at(self, stage: Stage, region: str, shape: str) -> CellKey:
        """The cell meant by a place of the board: the one the recipe has there, else a new one."""
        session = stage.opened
        listed = [m for m in (False, True) if session.weight((region, shape, m)) is not None]
        return (region, shape, listed[0] if len(listed) == 1 else self.mirrored)
