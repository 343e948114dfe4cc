"""Several cells of a recipe at once: set, changed by the same amount, removed, copied to another row, found by name."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping

from composer.document.project import Project
from composer.edits.cells import set_cell
from composer.edits.recipes import replace_recipe
from composer.mixing.recipe import ALL, WEIGHT_RANGE, Cell, CellKey, Recipe


def set_cells(project: Project, recipe: str, cells: Iterable[Cell]) -> Project:
    """The project with these cells in the recipe, each in the place of the old one of its key, or last.

    Raises MoueError for an unknown recipe or a weight outside [-1, 2].
    """
    for cell in cells:
        project = set_cell(project, recipe, cell)
    return project


def remove_cells(project: Project, recipe: str, keys: Collection[CellKey]) -> Project:
    """The recipe without the cells of these keys; the same project where it has none of them."""
    held = project.recipe(recipe)
    cells = tuple(cell for cell in held.cells if cell.key not in keys)
    return project if len(cells) == len(held.cells) else replace_recipe(project, recipe, held.with_(cells=cells))


def changed_by(cells: Iterable[Cell], amount: float, digits: int = 3) -> tuple[Cell, ...]:
    """The cells with weights larger by the same amount, each held within [-1, 2]."""
    low, high = WEIGHT_RANGE
    return tuple(
        Cell(c.region, c.shape, round(min(max(c.weight + amount, low), high), digits), c.mirrored) for c in cells
    )


def moved_to(cells: Collection[Cell], region: str) -> tuple[Cell, ...]:
    """Cells that were copied, as they go into a row: those of a single row go into `region`, those of several rows
    stay in their own."""
    if len({cell.region for cell in cells}) != 1:
        return tuple(cells)
    return tuple(Cell(region, cell.shape, cell.weight, cell.mirrored) for cell in cells)


def named_so(
    recipe: Recipe, words: str, regions: Collection[str], shapes: Collection[str], labels: Mapping[str, str]
) -> tuple[set[str], set[str]]:  # fmt: skip
    """The regions and the shapes to show for a search: those whose name has every word, and those of cells whose
    region and shape have every word between them. `labels` are what shapes are called besides their names."""
    wanted = words.lower().replace("_", " ").split()

    def fits(text: str) -> bool:
        flat = text.lower().replace("_", " ")
        return all(word in flat for word in wanted)

    called: Callable[[str], str] = lambda name: f"{name} {labels.get(name, '')}"  # noqa: E731
    base: Callable[[str], str] = lambda name: "base all of the face" if name == ALL else name  # noqa: E731
    cells = [c for c in recipe.cells if fits(f"{base(c.region)} {called(c.shape)}")]
    return (
        {name for name in regions if fits(base(name))} | {c.region for c in cells},
        {name for name in shapes if fits(called(name))} | {c.shape for c in cells},
    )
