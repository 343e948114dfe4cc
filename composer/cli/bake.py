"""`moue bake`: recipes as new targets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def bake(
    document: Annotated[Path, typer.Argument(help="A document.toml or a .moue file.")],
    to: Annotated[Path, typer.Option(help="The folder to write to.")],
    recipe: Annotated[list[str] | None, typer.Option(help="Only this recipe; may be repeated.")] = None,
    form: Annotated[str, typer.Option("--format", help="obj, ply, glb, gltf or npz.")] = "obj",
    name: Annotated[str, typer.Option(help="Names of the files, from {document} and {recipe}.")] = "{recipe}",
    unit: Annotated[str | None, typer.Option(help="Write in this unit instead of the head's own.")] = None,
    level: Annotated[int, typer.Option(help="Subdivide so often; vertices come in Moue's own order.")] = 0,
    steps: Annotated[int, typer.Option(help="Bake each recipe at this many strengths, the last the whole.")] = 1,
    over: Annotated[list[str] | None, typer.Option(help="A file that may be overwritten though it changed.")] = None,
) -> None:
    """Write recipes as new targets, the neutral beside them.

    Example: moue bake document.toml --to baked --recipe doubt
    """
    from composer.cli.progress import bar
    from composer.document.bake import bake as run
    from composer.document.hinges import settled
    from composer.document.ready import Ready
    from composer.document.store import open_document, save_document

    project = open_document(document)
    recipes = [project.recipe(name) for name in recipe] if recipe else list(project.recipes)
    with bar("opening") as progress:
        ready = Ready.open(project, progress)
        kept, rigidities, told = settled(project, ready.head, ready.hinges)
        files = run(
            ready, to, recipes, suffix=f".{form}", unit=unit, name=name, level=level, steps=steps, over=over or (),
            progress=progress,
        )  # fmt: skip
    if kept is not project:
        save_document(kept, document, rigidities)
        ready.notes += [*told, f"Hinges were written into {document}; they are not estimated again."]
    for note in ready.notes:
        typer.echo(f"note: {note}", err=True)
    for file in files:
        typer.echo(str(file))
