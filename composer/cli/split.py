"""`moue split`: every shape cut into targets that sum to it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli.sources import DOCUMENT


class By(StrEnum):
    """What cuts the shapes."""

    REGIONS = "regions"
    SIDES = "sides"


def split(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[Path, typer.Option(help="The folder to write to.")],
    by: Annotated[By, typer.Option(help="Cut by the document's regions, or into left and right.")] = By.REGIONS,
    ramp_mm: Annotated[
        float, typer.Option(min=0.0, max=1000.0, help="How wide the sides go over into each other, mm.")
    ] = 12.0,
) -> None:
    """Cut every shape into targets SHAPE.REGION that sum to it, the neutral beside them: as many files as there are
    shapes times regions, and one more.

    Example: moue split document.toml --to pieces --by sides
    """
    from composer.cli.progress import bar
    from composer.document.bake import write_targets
    from composer.document.ready import Ready
    from composer.document.store import open_document
    from composer.edits.split import split_by_regions, split_by_sides, split_names

    with bar("opening") as progress:
        ready = Ready.open(open_document(document), progress)
        pieces = split_by_regions(ready) if by is By.REGIONS else split_by_sides(ready, ramp_mm)
        moved = ((name, ready.head.neutral + piece) for name, piece in pieces)
        files = write_targets(ready.head, to, moved, names=split_names(ready, by.value), progress=progress)
    typer.echo(f"{to}: {len(files) - 1} targets and the neutral")
