"""`moue carry`: a library, or a document with its regions and recipes, carried onto a fitted head."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import LIBRARY, UNITS, Json, Neutral, SkipBroken, Unit, View, is_document

if TYPE_CHECKING:
    from collections.abc import Sequence

    from composer.fitting.carry import Way
    from composer.fitting.met import Met

MOST_LINES = 16
"""Lines of what was found that are printed."""
DOCUMENT = "document.toml"
"""The document that a library gets where it is carried with finer levels."""


class CarryWay(StrEnum):
    """How shapes are carried."""

    DELTA = "delta"
    FRAME = "frame"
    GRADIENT = "gradient"


class CarryAmplitude(StrEnum):
    """How far shapes move on a head of another size."""

    AUTO = "auto"
    LIBRARY = "library"
    HEAD = "head"


def carry(
    head: Annotated[Path, typer.Argument(help=f"A document. Or: {LIBRARY}")],
    fitted: Annotated[Path, typer.Argument(help="The new head's mesh, fitted with the library's own topology.")],
    to: Annotated[Path, typer.Option(metavar="FOLDER", help="The folder to write to.")],
    way: Annotated[
        CarryWay,
        typer.Option(
            metavar="WAY",
            help="Plain displacements (delta), by local frames (frame) or by deformation gradients (gradient).",
        ),
    ] = CarryWay.GRADIENT,
    shape_way: Annotated[
        list[str] | None,
        typer.Option(metavar="SHAPE=WAY", help="Another way for one shape, SHAPE=WAY; may be repeated."),
    ] = None,
    no_contact: Annotated[
        bool, typer.Option("--no-contact", help="Do not make lids and lips touch where they touch on the library.")
    ] = False,
    amplitude: Annotated[
        CarryAmplitude,
        typer.Option(
            metavar="HOW",
            help="How far shapes move on a head of another size: as on the library, growing with the head, or auto: as "
            "on the library up to 15 percent of size, with the head beyond 30.",
        ),
    ] = CarryAmplitude.AUTO,
    finer: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="The fitted head at a finer level, in Moue's order; may be repeated."),
    ] = None,
    sheet: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A PNG of shapes carried all three ways, side by side.")
    ] = None,
    shape: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="A shape for the sheet; may be repeated.")
    ] = None,
    view: View = "front",
    report: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a page, .html, of what was found, with pictures.")
    ] = None,
    json_file: Json = None,
    neutral: Neutral = None,
    unit: Unit = None,
    fitted_unit: Annotated[str | None, typer.Option(metavar="UNIT", help=f"The fitted mesh's unit: {UNITS}.")] = None,
    skip_broken: SkipBroken = False,
) -> None:
    """Carry every shape onto a fitted head.

    A document's in-betweens, regions, recipes, landmarks and correctives are carried too, and the new folder
    holds a document that opens on the new head. A library gets one where --finer gives it levels. Every carried shape
    is checked, and the findings on contact, crossings and limits are listed, worst first.

    Example: moue carry document.toml fitted.obj --to ferrier --sheet ferrier.png
    """
    from composer.checks.of_carried import carried_json, check_carried, worst_lines
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.contact.lines import missing_curves
    from composer.document.carried import MANIFEST, bare_document, carry_document, carry_library, whole_head
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.fitting.carry_head import HeadCarrier
    from composer.fitting.fitted_files import read_levels
    from composer.formats.library import open_library
    from composer.head.atomic import write_whole
    from composer.head.new_folder import may_fill
    from composer.head.outputs import may_write
    from composer.picture.carry_sheet import carry_sheet, shapes_to_show
    from composer.picture.render import Studio
    from composer.picture.report import html_report

    may_fill(to, MANIFEST, "carry")
    project = open_document(head) if is_document(head) else None
    if sheet is not None:
        if to.resolve() in sheet.resolve().parents:
            raise MoueError("is inside the folder that the carry writes", sheet, hint="choose another place")
        may_write(sheet, ".png", (head, fitted, project.head_path if project else None), to.parent)
    elif shape:
        raise MoueError("--shape needs a sheet", hint="add --sheet FILE.png")
    for file, ending in ((report, ".html"), (Path(json_file) if json_file not in (None, "-") else None, ".json")):
        if file is not None:
            if to.resolve() in file.resolve().parents:
                raise MoueError("is inside the folder that the carry writes", file, hint="choose another place")
            may_write(file, ending, (head, fitted, project.head_path if project else None), to.parent)
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress) if project is not None else None
        if evaluated is not None and (neutral is not None or unit is not None or skip_broken):
            raise MoueError("takes no library options: the document has its own", head, hint="leave those options out")
        library = evaluated.library if evaluated else open_library(head, neutral, unit, skip_broken, progress)
        if not library.shapes:
            raise MoueError("has no shapes to carry", head)
        new = open_library(fitted, unit=fitted_unit, recognise=False)
        if not new.diagonal > 0.0:
            raise MoueError("has no size: all its vertices are at one place", fitted)
        ways = _ways(shape_way or [])
        levels = read_levels(library, new.unit, finer or [])
        if levels and evaluated is None:
            evaluated = bare_document(library, to / DOCUMENT)
        shown = shapes_to_show(library, shape or [])
        old = whole_head(evaluated) if evaluated is not None else library
        met: dict[str, list[Met]] = {}
        contact = not no_contact
        if evaluated is not None:
            project = carry_document(
                evaluated, new, to, way=way.value, ways=ways, contact=contact, amplitude=amplitude.value,
                finer=levels, met=met, progress=progress,
            )  # fmt: skip
            written, made = project.path, whole_head(EvaluatedDocument.open(project))
        else:
            made = carry_library(
                library, new, to, way=way.value, ways=ways, contact=contact, amplitude=amplitude.value, met=met,
                progress=progress,
            )  # fmt: skip
            written = to
        sizes = HeadCarrier(old, made, way.value, amplitude=amplitude.value).size_words
        checked = list(check_carried(old, made, met, progress))
        if report is not None:
            page = html_report(
                Studio.of(made), checked, title=f"{library.name} on {new.name}", notes=[sizes] if sizes else [],
                progress=progress,
            )  # fmt: skip
            write_whole(report, lambda out: out.write(page.encode()))
        if sheet is not None:
            picture = carry_sheet(old, new, shown, view, contact, amplitude.value, progress).image
            write_whole(sheet, lambda out: picture.save(out, "PNG"))
    if json_file is not None:
        write_json(json_file, carried_json(checked, met))
    for note in [*library.notes, *new.notes]:
        console.note(note)
    if sizes:
        console.note(f"{sizes}; --amplitude library or head decides otherwise")
    missing = missing_curves(old) if contact else []
    if missing:
        console.note(f"lips or lids stay as they come where a curve is not marked: {', '.join(missing)}")
    if json_file != "-":
        console.say(f"{written}: {console.counted(len(made.shapes), 'shape')} and the neutral")
        for line in worst_lines(checked, MOST_LINES):
            console.say(f"  {line}")
        for written_file in (sheet, report, json_file):
            if written_file is not None:
                console.say(str(written_file))


def _ways(options: Sequence[str]) -> dict[str, Way]:
    """The ways of single shapes. Raises MoueError for an option that is not SHAPE=WAY."""
    from composer.errors import MoueError

    ways: dict[str, Way] = {}
    for option in options:
        name, equals, way = option.rpartition("=")
        if not equals or way not in list(CarryWay):
            raise MoueError(f"--shape-way {option!r} is not SHAPE=WAY", hint="as joy=frame; delta, frame or gradient")
        ways[name] = CarryWay(way).value  # type: ignore[assignment]
    return ways
