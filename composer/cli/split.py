"""`moue split`: every shape cut into targets that sum to it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.bake import FORMS, Form
from composer.cli.sources import DOCUMENT

MANY = 200
"""So many files and more, and one file is offered."""


class By(StrEnum):
    """How shapes are cut."""

    REGIONS = "regions"
    SIDES = "sides"


def split(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[Path, typer.Option(metavar="FOLDER", help="The folder to write to.")],
    by: Annotated[
        By, typer.Option(metavar="HOW", help="Cut by the document's regions (regions), or into left and right (sides).")
    ] = By.REGIONS,
    ramp_mm: Annotated[
        float, typer.Option(metavar="MM", min=0.0, max=1000.0, help="Width of the ramp between the sides, mm.")
    ] = 12.0,
    form: Annotated[Form, typer.Option("--format", metavar="FORMAT", help=f"What to write: {FORMS}.")] = Form["OBJ"],
    keep_empty: Annotated[bool, typer.Option("--keep-empty", help="Write also pieces that move nothing.")] = False,
) -> None:
    """Cut every shape into targets that sum to it.

    It writes a file SHAPE.REGION for each piece that moves something, and the neutral beside them, or all of them in
    one file: --format npz. How many files and how many bytes it says first.

    Example: moue split document.toml --to pieces --by sides
    """
    from composer.cli.progress import bar
    from composer.document.bake import write_in_one, write_targets
    from composer.document.bytes_to_write import bytes_of_targets, said_bytes
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document
    from composer.edits.split import split_shapes
    from composer.formats.registry import format_of
    from composer.head.file_names import renamed

    suffix = f".{form.value}"
    in_one = format_of(Path("x" + suffix), writing=True).many_shapes
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(open_document(document), progress)
        progress(0.5, "looking which pieces are empty")
        cut = split_shapes(evaluated, by.value, ramp_mm, keep_empty)
        size = bytes_of_targets(evaluated.head, len(cut.names), suffix)
    files = "1 file" if in_one else f"{len(cut.names) + 1:,} files"
    console.note(f"Writing {files}, {'at most' if in_one else 'about'} {said_bytes(size)}, to {to}.")
    if cut.left_out:
        console.note(f"{cut.left_out:,} pieces move nothing and are left out; --keep-empty keeps them.")
    if not in_one and len(cut.names) >= MANY:
        console.note("With --format npz all of it is one file.")
    with bar("writing") as progress:
        moved = ((name, evaluated.head.neutral + piece) for name, piece in cut.pieces())
        if in_one:
            write_in_one(evaluated.head, to, f"{document.stem}_split{suffix}", moved)
        else:
            write_targets(evaluated.head, to, moved, suffix=suffix, names=cut.names, progress=progress)
    for sentence in () if in_one else renamed([evaluated.head.neutral_name, *cut.names], suffix):
        console.note(sentence)
    console.say(f"{to}: {console.counted(len(cut.names), 'target')} and the neutral")
