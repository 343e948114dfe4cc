"""`moue sheet`: a contact sheet of a library's shapes, a document's recipes, or its regions."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.sources import LIBRARY, VIEWS, Columns, Neutral, SkipBroken, Unit, is_document


class Heat(StrEnum):
    """The quantities that a sheet can show as heat."""

    MOVEMENT = "movement"
    MASK = "mask"


def sheet(
    path: Annotated[Path, typer.Argument(help=f"A document. Or: {LIBRARY}")],
    to: Annotated[Path, typer.Option(metavar="FILE", help="The PNG to write.")],
    view: Annotated[
        str | None,
        typer.Option(metavar="VIEW", help=f"The picture's view: {VIEWS}. (default three_quarter, for masks front)"),
    ] = None,
    heat: Annotated[
        Heat | None,
        typer.Option(metavar="HEAT", help="Show how far vertices move (movement), or the regions' masks (mask)."),
    ] = None,
    whole_head: Annotated[bool, typer.Option("--whole-head", help="Show the whole head, not only the face.")] = False,
    columns: Columns = None,
    width: Annotated[
        int, typer.Option(metavar="PIXELS", min=100, max=2000, help="The width of each picture, 100 to 2000.")
    ] = 300,
    neutral: Neutral = None,
    unit: Unit = None,
    skip_broken: SkipBroken = False,
) -> None:
    """Picture every shape or recipe, lit and labelled.

    Example: moue sheet keeper --to keeper.png --view front
    """
    from composer.cli.outputs import may_write, write_picture
    from composer.cli.progress import bar
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.evaluated_recipe import EvaluatedRecipe
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.formats.library import open_library
    from composer.head.understand.veils import veil_note, veils_of
    from composer.picture.face import face_points
    from composer.picture.heat_entries import mask_entries, with_movement
    from composer.picture.render import Studio
    from composer.picture.sheet import Entry, contact_sheet, shapes_of

    if heat is Heat.MASK and not is_document(path):
        raise MoueError("has no regions", path, hint="give a document")
    project = open_document(path) if is_document(path) else None
    may_write(to, ".png", (path, project.head_path if project else None))
    view = view or ("front" if heat is Heat.MASK else "three_quarter")
    legend, counts = None, ""
    with bar("opening") as progress:
        if project is not None:
            evaluated = EvaluatedDocument.open(project, progress)
            head, title = evaluated.head, path.stem
            entries = [Entry(r.name, EvaluatedRecipe.of(evaluated, r).pose, r.note) for r in project.recipes]
        else:
            head = open_library(path, neutral, unit, skip_broken, progress)
            title, entries = head.name, shapes_of(head)
        if heat is Heat.MOVEMENT:
            entries, legend = with_movement(head.neutral, entries)
        elif heat is Heat.MASK:
            entries, legend = mask_entries(head.neutral, evaluated.effective)
            entries = [replace(entry, close=None) for entry in entries] if whole_head else entries
            counts = f"{console.counted(len(entries) - 1, 'region')} and the remainder, {view.replace('_', ' ')} view"
        if not entries:
            raise MoueError("holds no recipes to picture", path, hint="add one under [recipes.NAME]")
        picture = contact_sheet(
            Studio.of(head), entries, title=title, counts=counts, view=view, columns=columns, legend=legend,
            cell_width=width, face=None if whole_head else face_points(head), progress=progress,
        )  # fmt: skip
    write_picture(to, picture.image)
    console.say(str(to))
    veils = veil_note(veils_of(head))
    if veils:
        console.note(veils)
