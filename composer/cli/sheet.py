"""`moue sheet`: a contact sheet of a library's shapes, a document's recipes, or its regions; one of them alone as a
still, or turned once about."""

from __future__ import annotations

import re
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import LIBRARY, OR_KEPT, Columns, Neutral, SkipBroken, Unit, is_document

if TYPE_CHECKING:
    from PIL.Image import Image

    from composer.head.head import Head
    from composer.picture.sheet import Entry

SMALLEST, LARGEST = 16, 4096
"""Pixels of a picture's side (our choice; larger ones ask for gigabytes)."""
STILL = (960, 1200)
TURNING = (480, 600)


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
    from composer.head.understand.veils import veil_note, veils_of
    from composer.picture.face import face_points
    from composer.picture.fine_enough import studio_for
    from composer.picture.heat_entries import mask_entries, with_movement
    from composer.picture.png import write_png
    from composer.picture.sheet import Entry, contact_sheet, shapes_of, still
    from composer.picture.turntable import turntable as turned
    from composer.picture.views import view_named, words_of

    if heat is Heat.MASK and not is_document(path):
        raise MoueError("has no regions", path, hint="give a document")
    alone = turntable or only is not None
    if not alone and (size is not None or clear):
        raise MoueError("--size and --clear are for one picture", hint="add --only NAME, or --turntable")
    pixels = _pixels(size) or (TURNING if turntable else STILL)
    project = open_document(path) if is_document(path) else None
    _may_write(to, (path, project.head_path if project else None), turntable)
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
        _write_turn(pictures, to, entries[0].name)
    else:
        write_png(to, pictures[0])
    console.say(str(to))
    veils = veil_note(veils_of(head))
    if veils:
        console.note(veils)


def _pixels(size: str | None) -> tuple[int, int] | None:
    """Width and height of "640x800". Raises MoueError for other words, and for too small or large a side."""
    from composer.errors import MoueError

    if size is None:
        return None
    found = re.fullmatch(r"([0-9]{1,5})x([0-9]{1,5})", size.strip().lower())
    sides = tuple(int(side) for side in found.groups()) if found else ()
    if len(sides) != 2 or not all(SMALLEST <= side <= LARGEST for side in sides):
        hint = f"give width and height in pixels, such as 640x800, each {SMALLEST} to {LARGEST}"
        raise MoueError(f"--size {size} is no size of a picture", hint=hint)
    return sides[0], sides[1]


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


def _may_write(to: Path, sources: tuple[Path | None, ...], turntable: bool) -> None:
    """Raises MoueError where a picture, or a turn, may not be written."""
    from composer.cli.outputs import may_write
    from composer.errors import MoueError
    from composer.head.new_folder import may_fill
    from composer.picture.clip_picture import MANIFEST

    if not turntable:
        may_write(to, ".png", sources)
    elif to.suffix.lower() == ".webp":
        may_write(to, ".webp", sources)
    elif to.suffix and not to.is_dir():
        raise MoueError("is not named as a turn", to, hint="give a name that ends in .webp, or a folder for PNG files")
    else:
        may_fill(to, MANIFEST, "pictures")


def _write_turn(pictures: list[Image], to: Path, name: str) -> None:
    """A turn as one animated picture, or a PNG a side in a folder."""
    from composer.head.atomic import write_whole
    from composer.head.file_names import file_names
    from composer.picture.turntable import one_turn, write_frames

    if to.suffix.lower() == ".webp":
        moving = one_turn(pictures)
        write_whole(to, lambda file: file.write(moving))
    else:
        write_frames(pictures, to, Path(file_names([name], ".png")[name]).stem)
