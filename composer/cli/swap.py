"""`moue swap`: another head takes the place of a document's head, and the library is carried onto it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.alone import alone_on
from composer.cli.carry import CarryWay
from composer.cli.sources import DOCUMENT, UNITS


@alone_on("to", "document")
def swap(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    fitted: Annotated[
        Path | None,
        typer.Argument(metavar="[FITTED]", help="The new head's mesh, fitted with the library's own topology."),
    ] = None,
    recipe: Annotated[
        str | None, typer.Option(metavar="NAME", help="Take the pose of this recipe as the new head instead.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the changed document here, and leave the old one.")
    ] = None,
    name: Annotated[str | None, typer.Option(metavar="NAME", help="The new head's name, for its folder.")] = None,
    finer: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="The fitted head at a finer level, in Moue's order; may be repeated."),
    ] = None,
    way: Annotated[
        CarryWay, typer.Option(metavar="WAY", help="How shapes are carried: delta, frame or gradient.")
    ] = CarryWay.GRADIENT,
    no_contact: Annotated[
        bool, typer.Option("--no-contact", help="Do not make lids and lips touch where they touch on the library.")
    ] = False,
    fitted_unit: Annotated[str | None, typer.Option(metavar="UNIT", help=f"The fitted mesh's unit: {UNITS}.")] = None,
) -> None:
    """Put another head in the place of a document's head.

    The library is carried onto it, into heads/NAME beside the document. Regions, masks, recipes, landmarks and
    correctives stay; what does not is listed. The old head stays known as an earlier head: a recipe can take its nose,
    or its ears. With --recipe such a recipe becomes the new head.

    Without --to the document itself is changed, and a copy of it as it was is kept as before.moue in that folder.

    Example: moue swap clock.toml fitted/fitted.obj --finer fitted/fitted_level3.obj

    Example: moue swap clock.toml --recipe grandmother
    """
    from composer.cli.progress import bar
    from composer.cli.sources import is_document
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import moved_to, open_document, save_document
    from composer.edits.neutral_of_recipe import expressions_in, neutral_of_recipe
    from composer.edits.swap_head import copy_before, swap_head
    from composer.errors import MoueError
    from composer.fitting.fitted_files import read_levels
    from composer.formats.library import open_library
    from composer.head.folders import is_there, make_folder

    if (fitted is None) == (recipe is None):
        raise MoueError("a fitted head is needed, or --recipe", hint="give one of the two")
    if recipe is not None and (finer or fitted_unit is not None):
        raise MoueError("--finer and --fitted-unit are for a fitted head", hint="a recipe brings its own levels")
    if to is not None and (not is_document(to) or is_there(to)):
        raise MoueError("is no new document", to, hint="give a new name that ends in .toml or .moue")
    project = open_document(document)
    if to is not None:
        make_folder(to.parent)
        project = moved_to(project, to)
    notes: list[str] = []
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, lambda f, words: progress(0.3 * f, words))
        if fitted is not None:
            head = open_library(fitted, unit=fitted_unit, recognise=False)
            if not head.diagonal > 0.0:
                raise MoueError("has no size: all its vertices are at one place", fitted)
            levels = read_levels(evaluated.library, head.unit, finer or [])
        else:
            assert recipe is not None
            head, levels = neutral_of_recipe(evaluated, recipe)
            used = expressions_in(evaluated, recipe)
            if used:
                notes.append(f"Expressions became part of the face at rest: {', '.join(used)}.")
        swapped = swap_head(
            evaluated, head, name=name, finer=levels, way=way.value, contact=not no_contact,
            progress=lambda f, words: progress(0.3 + 0.65 * f, words),
        )  # fmt: skip
        kept_copy = copy_before(project, swapped.folder) if to is None else None
        save_document(swapped.project, to or document)
    for note in [*notes, *(each for each in swapped.evaluated.notes if each not in evaluated.notes)]:
        console.note(note)
    console.say(f"{to or document}: its head is {swapped.folder} now; kept: {swapped.kept}")
    for line in swapped.changed:
        console.say(f"  {line}")
    if kept_copy is not None:
        console.say(f"{kept_copy}: the document as it was")
