"""`moue bake`: recipes as new targets."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli.sources import DOCUMENT, NO_RECIPES, UNITS, Only, recipes_of


class Form(StrEnum):
    """The formats that a bake writes."""

    OBJ = "obj"
    PLY = "ply"
    GLB = "glb"
    GLTF = "gltf"
    NPZ = "npz"


def bake(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[Path, typer.Option(help="The folder to write to.")],
    recipe: Only = None,
    form: Annotated[Form, typer.Option("--format", help="What to write.")] = Form.OBJ,
    name: Annotated[str, typer.Option(help="Names of the files, from {document} and {recipe}.")] = "{recipe}",
    unit: Annotated[str | None, typer.Option(help=f"Write in this unit instead of the head's own: {UNITS}.")] = None,
    level: Annotated[int, typer.Option(help="Subdivide so often; vertices come in Moue's own order.")] = 0,
    steps: Annotated[int, typer.Option(help="Bake each recipe at this many strengths, the last the whole.")] = 1,
    over: Annotated[list[str] | None, typer.Option(help="Overwrite this changed file.")] = None,
) -> None:
    """Write recipes as new targets, the neutral beside them.

    Example: moue bake document.toml --to baked --recipe doubt
    """
    from composer.cli.progress import bar
    from composer.document.bake import bake as run
    from composer.document.hinges import settled
    from composer.document.ready import Ready
    from composer.document.store import open_document, save_document
    from composer.errors import MoueError

    project = open_document(document)
    recipes = recipes_of(project, recipe)
    with bar("opening") as progress:
        ready = Ready.open(project, progress)
        kept, rigidities, told = settled(project, ready.head, ready.hinges)
        files = run(
            ready, to, recipes, suffix=f".{form.value}", unit=unit, name=name, level=level, steps=steps,
            over=over or (), progress=progress,
        )  # fmt: skip
    if kept is not project:
        try:
            save_document(kept, document, rigidities)
            ready.notes += [*told, f"Hinges were written into {document}; they are not estimated again."]
        except MoueError as error:
            ready.notes += [*told, f"The hinges could not be kept in the document: {error}."]
    if not recipes:
        ready.notes.append(NO_RECIPES)
    for note in ready.notes:
        typer.echo(f"note: {note}", err=True)
    for file in files:
        typer.echo(str(file))
