"""`moue fit`: the library's topology fitted onto a sculpt, with figures and pictures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import UNITS, Neutral, Unit, is_document

if TYPE_CHECKING:
    from composer.head.head import Head

GUESSED = "guessed.toml"


def fit(
    head: Annotated[Path, typer.Argument(help="A library, or a document with the head to fit.")],
    sculpt: Annotated[Path, typer.Argument(help="The new head in any topology: .obj, .ply, .stl, .off or .glb.")],
    to: Annotated[Path, typer.Option(metavar="FOLDER", help="The folder to write to.")],
    landmarks: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Landmarks on the head and on the sculpt, TOML or JSON. Without it, by form.",
        ),
    ] = None,
    guess: Annotated[
        bool, typer.Option("--guess", help="Also write guesses for the landmarks that nobody placed.")
    ] = False,
    level: Annotated[
        int | None,
        typer.Option(
            metavar="N", min=0, max=8, help="Project up to this level, 0 to 8. Without it, as fine as the sculpt."
        ),
    ] = None,
    reach: Annotated[
        float | None, typer.Option(metavar="MM", min=0.0, help="The furthest that a vertex moves onto the sculpt, mm.")
    ] = None,
    free: Annotated[
        list[str] | None,
        typer.Option(metavar="GROUP", help="A face group that does not follow the sculpt; may be repeated."),
    ] = None,
    protect: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A mask, .npy, of vertices that are not projected.")
    ] = None,
    no_relax: Annotated[bool, typer.Option("--no-relax", help="Do not relax the loops after the fit.")] = False,
    any_size: Annotated[bool, typer.Option("--any-size", help="Accept a sculpt of any size.")] = False,
    like: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE", help="An earlier head on the library's topology, or a folder of them; may be repeated."
        ),
    ] = None,
    like_unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="The unit of these heads; without it the library's.")
    ] = None,
    pin: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="A landmark that holds where it is placed, not pulls; may be repeated."),
    ] = None,
    click: Annotated[
        float | None,
        typer.Option(metavar="MM", min=0.0, help="How exactly landmarks are placed, mm. Without it, estimated."),
    ] = None,
    turn_over: Annotated[bool, typer.Option("--turn-over", help="Turn the sculpt's faces over.")] = False,
    follow_all: Annotated[
        bool, typer.Option("--follow-all", help="Follow the sculpt over hair, hats and collars too.")
    ] = False,
    neutral: Neutral = None,
    unit: Unit = None,
    sculpt_unit: Annotated[str | None, typer.Option(metavar="UNIT", help=f"The sculpt's unit: {UNITS}.")] = None,
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Leave the pictures out.")] = False,
    close_ups: Annotated[
        bool, typer.Option("--close-ups", help="Also picture eye, nose, mouth and ear, and the face from below.")
    ] = False,
) -> None:
    """Fit the library's topology onto a sculpt.

    The mesh is fitted, relaxed, and projected level by level. The fit knows the placed landmarks alone: four are
    enough, and every further one helps. They pull, as a hand places them within half a millimetre; --pin holds one.
    Without landmarks the head is found on the sculpt by its form, however it is turned; where that fails it says so.
    Heads that were fitted earlier make the next fit better: name them with --like. Check and correct the landmarks that
    --guess writes, and use them for a second fit.

    Exit code 1 where faces are still turned over or folded, a part stands through the skin, or skin is inside out at
    the nose or the ears. The files are written all the same.

    Example: moue fit keeper ferrier.obj --landmarks ferrier.landmarks.toml --to fitted
    """
    from composer.cli.kept_memory import keep_memory
    from composer.cli.progress import bar
    from composer.document.mask_file import read_mask
    from composer.fitting.fit_files import FitFiles
    from composer.fitting.fit_state import FitOptions
    from composer.fitting.fit_words import fit_lines, fit_warnings
    from composer.fitting.fitted_files import MANIFEST, write_fitted
    from composer.fitting.prior.earlier_files import read_earlier
    from composer.formats.library import open_library
    from composer.head.human_size import size_doubts
    from composer.head.landmark_doubts import landmark_doubts
    from composer.head.new_folder import may_fill
    from composer.picture.fit_picture import write_fit_pictures

    may_fill(to, MANIFEST, "fit")
    keep_memory()
    with bar("opening") as progress:
        library = _head_of(head) if is_document(head) else open_library(head, neutral, unit)
        files = FitFiles.read(library, sculpt, landmarks, sculpt_unit)
        earlier = read_earlier(library, like or (), like_unit)
        options = FitOptions(
            like=tuple(earlier), pinned=tuple(pin or ()), click_mm=click,
            groups=tuple(free) if free else None, relaxed=not no_relax, reach_mm=reach, up_to=level, any_size=any_size,
            protect=None if protect is None else read_mask(protect), turn_over=turn_over,
            follow_all=follow_all,
        )  # fmt: skip
        fitted = files.fit(options, progress)
        progress(0.98, "writing files and pictures")

        def more(folder: Path) -> list[Path]:
            added = []
            if guess:
                files.write_guesses(fitted, turn_over, folder / GUESSED)
                added.append(folder / GUESSED)
            if not no_pictures:
                added += write_fit_pictures(files.library, fitted, files.sculpt, folder, close_ups)
            return added

        written = write_fitted(fitted, to, files.sculpt.unit, more)
    for doubt in [*size_doubts(library), *landmark_doubts(library)]:
        console.warn(f"warning: {doubt}")
    for note in [*files.notes, *fitted.report.notes]:
        console.note(note)
    report = fitted.report
    for line in fit_lines(report):
        console.say(line)
    for line in fit_warnings(report):
        console.warn(f"warning: {line}")
    for file in written:
        console.say(str(file))
    if report.sound.broken or fitted.turned:
        raise typer.Exit(1)


def _head_of(document: Path) -> Head:
    """The head of a document, whose modules a library does without."""
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document

    return EvaluatedDocument.open(open_document(document)).head
