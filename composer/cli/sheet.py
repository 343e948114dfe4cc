"""`moue sheet`: a contact sheet of a library's shapes or a document's recipes."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Heat(StrEnum):
    """What a sheet can show as heat."""

    MOVEMENT = "movement"
    MASK = "mask"


def sheet(
    path: Annotated[Path, typer.Argument(help="A folder of targets, a document.toml or a .moue file.")],
    to: Annotated[Path, typer.Option(help="The PNG to write.")],
    view: Annotated[str, typer.Option(help="front, three_quarter, profile, below or back.")] = "three_quarter",
    heat: Annotated[Heat | None, typer.Option(help="Show how far vertices move, or the regions' masks.")] = None,
    columns: Annotated[int | None, typer.Option(help="Pictures in a row.")] = None,
) -> None:
    """Picture every shape, or every recipe, lit and labelled.

    Example: moue sheet keeper --to keeper.png --view front
    """
    from composer.cli.progress import bar
    from composer.document.ready import Ready
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.formats.library import open_library
    from composer.head.atomic import write_whole
    from composer.picture.heat_entries import mask_entries, with_movement
    from composer.picture.render import Studio
    from composer.picture.sheet import Entry, contact_sheet, shapes_of

    with bar("opening") as progress:
        if path.suffix in (".toml", ".moue"):
            ready = Ready.open(open_document(path), progress)
            head = ready.head
            entries = [Entry(r.name, ready.pose(r), r.note) for r in ready.project.recipes]
        else:
            head = open_library(path, progress=progress)
            entries = shapes_of(head)
        legend = None
        if heat is Heat.MOVEMENT:
            entries, legend = with_movement(head.neutral, entries)
        elif heat is Heat.MASK:
            if path.suffix not in (".toml", ".moue"):
                raise MoueError("has no regions", path, mend="give a document")
            entries, legend = mask_entries(head.neutral, ready.effective)
        made = contact_sheet(
            Studio.of(head), entries, title=head.name, view=view, columns=columns, legend=legend, progress=progress
        )
    write_whole(to, lambda file: made.image.save(file, "PNG"))
    typer.echo(str(to))
