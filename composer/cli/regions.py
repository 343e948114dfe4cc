"""`moue regions`: a document with regions for a head that has none."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class From(StrEnum):
    """Where regions come from."""

    LANDMARKS = "landmarks"
    DISPLACEMENT = "displacement"
    GROUPS = "groups"


def regions(
    head: Annotated[Path, typer.Argument(help="A folder of targets.")],
    to: Annotated[Path, typer.Option(help="The .moue file or document.toml to write.")],
    source: Annotated[From, typer.Option("--from", help="Where the regions come from.")] = From.LANDMARKS,
    preset: Annotated[str, typer.Option(help="Which regions from landmarks: face, eight or coarse.")] = "face",
    count: Annotated[int, typer.Option(help="How many regions from displacement, at most.")] = 12,
    ramp_mm: Annotated[float, typer.Option(help="How wide the borders of groups are, mm.")] = 8.0,
) -> None:
    """Make a document with regions from landmarks, from what moves together, or from face groups.

    Example: moue regions keeper --to keeper.moue --from displacement
    """
    from composer.cli.progress import bar
    from composer.document.store import save_document
    from composer.edits.lay_regions import laid_regions
    from composer.formats.library import open_library

    with bar("opening") as progress:
        opened = open_library(head, progress=progress)
        project, notes = laid_regions(opened, to, source.value, preset, count, ramp_mm)
    if to.exists():
        from composer.errors import MoueError

        raise MoueError("is there already", to, mend="give another file with --to")
    save_document(project, to)
    for note in notes:
        typer.echo(f"note: {note}", err=True)
    typer.echo(f"{to}: {len(project.regions)} regions: {', '.join(region.name for region in project.regions)}")
