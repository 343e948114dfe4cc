"""`moue regions`: a document with regions for a head that has none."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.alone import alone_on
from composer.cli.sources import LIBRARY, Neutral, SkipBroken, Unit, is_document
from composer.document.region_sources import LANDMARKS, LAYERS

From = StrEnum("From", {word.upper(): word for word in LAYERS})  # type: ignore[misc]
"""Where the regions of a head can come from: the sources that are registered."""
FROM_LANDMARKS = From(LANDMARKS.lays)


@alone_on("to")
def regions(
    head: Annotated[Path, typer.Argument(help=f"{LIBRARY} Or: a document without regions.")],
    to: Annotated[Path, typer.Option(metavar="FILE", help="The .moue file or document.toml to write.")],
    source: Annotated[
        From, typer.Option("--from", metavar="SOURCE", help=f"Where regions come from: {', '.join(LAYERS)}.")
    ] = FROM_LANDMARKS,
    preset: Annotated[
        str, typer.Option(metavar="NAME", help="Which regions from landmarks: face, eight or coarse.")
    ] = "face",
    count: Annotated[
        int, typer.Option(metavar="N", min=1, max=1000, help="Most regions from displacement, 1 to 1000.")
    ] = 16,
    ramp_mm: Annotated[
        float, typer.Option(metavar="MM", min=0.0, max=1000.0, help="Width of the borders between groups, mm.")
    ] = 8.0,
    softness: Annotated[
        float,
        typer.Option(metavar="X", min=0.1, max=10.0, help="Widens borders of regions from displacement; 1.6 is soft."),
    ] = 1.0,
    neutral: Neutral = None,
    unit: Unit = None,
    skip_broken: SkipBroken = False,
) -> None:
    """Make a document with regions for a library.

    Regions come from landmarks, from skin that moves together, or from face groups. A document without regions, such as
    one that came of a carry, keeps its levels and all else.

    Example: moue regions keeper --to mine/document.toml --from displacement
    """
    from composer.cli.progress import bar
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import moved_to, open_document, save_document
    from composer.edits.lay_regions import laid_regions, laid_regions_in
    from composer.errors import MoueError
    from composer.formats.library import open_library
    from composer.head.folders import is_there, make_folder

    if not is_document(to):
        raise MoueError("is not named as a document", to, hint="give a name that ends in .toml or .moue")
    if is_there(to):
        raise MoueError("is there already", to, hint="give another file with --to")
    with bar("opening") as progress:
        if is_document(head):
            if neutral is not None or unit is not None or skip_broken:
                what = "takes no library options: the document has its own"
                raise MoueError(what, head, hint="leave those options out")
            document = EvaluatedDocument.open(moved_to(open_document(head), to), progress)
            project, notes = laid_regions_in(document, source.value, preset, count, ramp_mm, softness=softness)
        else:
            opened = open_library(head, neutral, unit, skip_broken, progress)
            project, notes = laid_regions(opened, to, source.value, preset, count, ramp_mm, softness=softness)
    make_folder(to.parent)
    save_document(project, to, new=True)
    for note in notes:
        console.note(note)
    names = ", ".join(region.name for region in project.regions)
    console.say(f"{to}: {console.counted(len(project.regions), 'region')}: {names}")
