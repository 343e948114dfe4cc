"""`moue bake`: recipes as new targets."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, NO_RECIPES, UNITS, Only, recipes_of
from composer.formats.registry import suffixes

Form = StrEnum("Form", {suffix[1:].upper(): suffix[1:] for suffix in suffixes(writing=True)})  # type: ignore[misc]
"""The formats that a bake writes."""
FORMS = ", ".join(Form)


def bake(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[Path, typer.Option(metavar="FOLDER", help="The folder to write to.")],
    recipe: Only = None,
    form: Annotated[Form, typer.Option("--format", metavar="FORMAT", help=f"What to write: {FORMS}.")] = Form["OBJ"],
    name: Annotated[
        str, typer.Option(metavar="TEMPLATE", help="Names of the files, from {document} and {recipe}.")
    ] = "{recipe}",
    unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help=f"Write in this unit instead of the head's own: {UNITS}.")
    ] = None,
    level: Annotated[
        int, typer.Option(metavar="N", help="Subdivide this often, 0 to 8; vertices are in Moue's own order.")
    ] = 0,
    vertices: Annotated[
        int | None, typer.Option(metavar="N", help="The level with this number of vertices.", show_default=False)
    ] = None,
    order_of: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A neutral from your own program: take its level, vertex order and unit."),
    ] = None,
    steps: Annotated[
        int, typer.Option(metavar="N", help="Bake this many steps from the neutral to each recipe, 1 to 100.")
    ] = 1,
    table: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Bake the recipes of this .csv: one a row, a cell a column.")
    ] = None,
    over: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Overwrite this changed file; may be repeated.")
    ] = None,
) -> None:
    """Write recipes as new targets, and the neutral beside them.

    A file that was changed since the last bake is left alone unless --over names it.

    Example: moue bake document.toml --to baked --recipe doubt

    Example: moue bake document.toml --to baked --order-of sample.obj
    """
    from composer.cli.progress import bar
    from composer.cli.settle import keep_hinges
    from composer.document.bake import bake as run
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.recipe_table import recipes_in
    from composer.document.sample import level_with
    from composer.document.store import open_document
    from composer.edits.take_tables import take_recipes
    from composer.errors import MoueError
    from composer.head.human_size import size_doubts

    project = open_document(document)
    rows = () if table is None else tuple(recipes_in(table))
    recipes = recipes_of(project if table is None else project.with_(recipes=rows, path=table), recipe)
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        if table is not None:
            evaluated = evaluated.again(take_recipes(project.with_(recipes=()), rows, table, evaluated))
        if vertices is not None:
            wanted = level_with(evaluated.head, vertices, document)
            if level not in (0, wanted):
                raise MoueError(f"level {level} does not have {vertices:,} vertices, level {wanted} has", document)
            level = wanted
        files = run(
            evaluated, to, recipes, suffix=f".{form.value}", unit=unit, name=name, level=level, steps=steps,
            over=over or (), order_of=order_of, progress=progress,
        )  # fmt: skip
    keep_hinges(project, evaluated, document)
    for doubt in size_doubts(evaluated.head):
        console.warn(f"warning: {doubt}")
    if not recipes:
        evaluated.notes.append(NO_RECIPES)
    for note in evaluated.notes:
        console.note(note)
    for file in files:
        console.say(str(file))
