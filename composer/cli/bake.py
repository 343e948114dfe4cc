"""`moue bake`: recipes as new targets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def bake(
    document: Annotated[Path, typer.Argument(help="A document.toml or a .moue file.")],
    to: Annotated[Path, typer.Option(help="The folder to write to.")],
    recipe: Annotated[list[str] | None, typer.Option(help="Only this recipe; may be repeated.")] = None,
    form: Annotated[str, typer.Option("--format", help="obj or ply.")] = "obj",
    name: Annotated[str, typer.Option(help="Names of the files, from {document} and {recipe}.")] = "{recipe}",
    unit: Annotated[str | None, typer.Option(help="Write in this unit instead of the head's own.")] = None,
    over: Annotated[list[str] | None, typer.Option(help="A file that may be overwritten though it changed.")] = None,
) -> None:
    """Write recipes as new targets, the neutral beside them.

    Example: moue bake document.toml --to baked --recipe doubt
    """
    from composer.cli.progress import bar
    from composer.document.bake import bake as run
    from composer.document.ready import Ready
    from composer.document.store import open_document

    project = open_document(document)
    recipes = [project.recipe(name) for name in recipe] if recipe else list(project.recipes)
    with bar("opening") as progress:
        ready = Ready.open(project, progress)
        files = run(ready, to, recipes, suffix=f".{form}", unit=unit, name=name, over=over or (), progress=progress)
    for note in ready.notes:
        typer.echo(f"note: {note}", err=True)
    for file in files:
        typer.echo(str(file))
