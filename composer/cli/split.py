"""`moue split`: every shape cut into targets that sum to it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT


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
) -> None:
    """Cut every shape into targets that sum to it.

    It writes a file SHAPE.REGION for every shape and region, and the neutral beside them.

    Example: moue split document.toml --to pieces --by sides
    """
    from composer.cli.progress import bar
    from composer.document.bake import write_targets
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document
    from composer.edits.split import split_by_regions, split_by_sides, split_names
    from composer.head.file_names import renamed

    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(open_document(document), progress)
        pieces = split_by_regions(evaluated) if by is By.REGIONS else split_by_sides(evaluated, ramp_mm)
        names = split_names(evaluated, by.value)
        moved = ((name, evaluated.head.neutral + piece) for name, piece in pieces)
        files = write_targets(evaluated.head, to, moved, names=names, progress=progress)
    for sentence in renamed([evaluated.head.neutral_name, *names], ".obj"):
        console.note(sentence)
    console.say(f"{to}: {console.counted(len(files) - 1, 'target')} and the neutral")
