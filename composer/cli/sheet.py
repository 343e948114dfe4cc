"""`moue sheet`: a contact sheet of a library's shapes, a document's recipes, or its regions; one of them alone as a
still, or turned once about."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import LIBRARY, OR_KEPT, Columns, Neutral, SkipBroken, Unit, is_document
from composer.picture.sizes import LARGEST, SMALLEST, STILL, TURNING, size_of

if TYPE_CHECKING:
    from PIL.Image import Image

    from composer.head.head import Head
    from composer.picture.sheet import Entry



class Heat(StrEnum):
    """The quantities that a sheet can show as heat."""

    MOVEMENT = "movement"
    MASK = "mask"


class LightName(StrEnum):
    """The lights of a picture, as `picture/lamps.py` has them."""

    VIEW = "view"
    DAYLIGHT = "daylight"
    STUDIO = "studio"
    RIM = "rim"


def sheet(
    path: Annotated[Path, typer.Argument(help=f"A document. Or: {LIBRARY}")],
    to: Annotated[
        Path, typer.Option(metavar="FILE", help="The .png to write. A turn: a .webp, or a folder for a PNG a side.")
    ],
    view: Annotated[
        str | None,
        typer.Option(metavar="VIEW", help=f"The picture's view: {OR_KEPT}. (default three_quarter, for masks front)"),
    ] = None,
    heat: Annotated[
        Heat | None,
        typer.Option(metavar="HEAT", help="Show how far vertices move (movement), or the regions' masks (mask)."),
    ] = None,
    light: Annotated[
        LightName,
        typer.Option(metavar="LIGHT", help="view follows the view; daylight, studio, rim stand about the head."),
    ] = LightName.VIEW,
    only: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only this recipe, shape or region, as a still without words.")
    ] = None,
    turntable: Annotated[
        bool, typer.Option("--turntable", help="Turn it once about: the one of --only, or the neutral.")
    ] = False,
    frames: Annotated[int, typer.Option(metavar="N", min=2, max=720, help="Sides of a turn, 2 to 720.")] = 48,
    size: Annotated[
        str | None,
        typer.Option(metavar="PIXELS", help=f"WIDTHxHEIGHT of a still or a turn, each {SMALLEST} to {LARGEST}."),
    ] = None,
    clear: Annotated[bool, typer.Option("--clear", help="No ground: a still or a turn with alpha.")] = False,
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

    Or one alone, as a still of any size or turned once about.

    Example: moue sheet keeper --to keeper.png --view front

    Example: moue sheet keeper --turntable --to keeper.webp --clear
    """
    from composer.cli.progress import bar
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.evaluated_recipe import EvaluatedRecipe
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.formats.library import open_library
    from composer.head.outputs import may_write
    from composer.head.understand.veils import veil_note, veils_of
    from composer.picture.face import face_points
    from composer.picture.fine_enough import studio_for
    from composer.picture.frames_on_disk import may_write_moving, write_moving
    from composer.picture.heat_entries import mask_entries, with_movement
    from composer.picture.png import write_png
    from composer.picture.sheet import Entry, contact_sheet, shapes_of, still
    from composer.picture.turntable import one_turn
    from composer.picture.turntable import turntable as turned
    from composer.picture.views import view_named, words_of

    if heat is Heat.MASK and not is_document(path):
        raise MoueError("has no regions", path, hint="give a document")
    alone = turntable or only is not None
    if not alone and (size is not None or clear):
        raise MoueError("--size and --clear are for one picture", hint="add --only NAME, or --turntable")
    pixels = size_of(size) if size is not None else TURNING if turntable else STILL
    project = open_document(path) if is_document(path) else None
    sources = (path, project.head_path if project else None)
    may_write_moving(to, sources) if turntable else may_write(to, ".png", sources)
    usual = "front" if heat is Heat.MASK or turntable else "three_quarter"
    seen = view_named(view or usual, project.views if project else ())
    legend, counts = None, ""
    with bar("opening", thread=False) as progress:
        if project is not None:
            evaluated = EvaluatedDocument.open(project, progress)
            head, title = evaluated.head, path.stem
            entries = [Entry(r.name, EvaluatedRecipe.of(evaluated, r).pose, r.note) for r in project.recipes]
        else:
            head = open_library(path, neutral, unit, skip_broken, progress)
            title, entries = head.name, shapes_of(head)
        if alone and heat is not Heat.MASK:
            entries = [_named(head, entries, only)]
        if heat is Heat.MOVEMENT:
            entries, legend = with_movement(head.neutral, entries)
        elif heat is Heat.MASK:
            entries, legend = mask_entries(head.neutral, evaluated.effective)
            entries = [replace(entry, close=None) for entry in entries] if whole_head or alone else entries
            counts = f"{console.counted(len(entries) - 1, 'region')} and the remainder, {words_of(seen)} view"
            entries = [_named(None, entries, only)] if alone else entries
        if not entries:
            raise MoueError("holds no recipes to picture", path, hint="add one under [recipes.NAME]")
        face = None if whole_head else face_points(head)
        side = pixels if alone else (width, round(width / 0.55))
        studio = studio_for(head, side, None if turntable else face)
        pictures: list[Image] = []
        if turntable:
            pictures = turned(
                studio, entries[0].positions, frames=frames, view=seen, size=pixels, colours=entries[0].colours,
                light=light, clear=clear, progress=progress,
            )  # fmt: skip
        elif alone:
            pictures = [
                still(studio, entries[0], view=seen, size=pixels, face=face, light=light, clear=clear)
            ]
        else:
            made = contact_sheet(
                studio, entries, title=title, counts=counts, view=seen, columns=columns, legend=legend,
                cell_width=width, face=face, light=light, progress=progress,
            )  # fmt: skip
            pictures = [made.image]
    if turntable:
        write_moving(pictures, to, entries[0].name, one_turn)
    else:
        write_png(to, pictures[0])
    console.say(str(to))
    veils = veil_note(veils_of(head))
    if veils:
        console.note(veils)


def _named(head: Head | None, entries: list[Entry], name: str | None) -> Entry:
    """The entry of that name, or the shape of the head, or its neutral. Raises MoueError where there is none."""
    from composer.errors import MoueError, unknown
    from composer.picture.sheet import Entry, shapes_of

    for entry in entries:
        if entry.name == name:
            return entry
    if head is None:
        if name is None:
            raise MoueError("--turntable of masks turns one region", hint="add --only REGION")
        raise unknown("region", name, [entry.name for entry in entries])
    if name is None or name == head.neutral_name:
        return Entry(head.neutral_name, head.neutral)
    if name not in head.shape_names:
        known = dict.fromkeys([*(entry.name for entry in entries), head.neutral_name, *head.shape_names])
        raise unknown("recipe or shape", name, known)
    return shapes_of(head, [name])[1]
