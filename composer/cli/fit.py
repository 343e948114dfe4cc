"""`moue fit`: the library's topology on a sculpt, with figures and pictures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import UNITS, Neutral, Unit, is_document

if TYPE_CHECKING:
    from composer.fitting.chain import FittedHead
    from composer.head.head import Head
    from composer.head.landmarks import Landmarks

FEW = 6
"""Through fewer landmarks than this a fit is one that a person should look at twice (our choice)."""
GUESSED = "guessed.toml"


def fit(
    head: Annotated[Path, typer.Argument(help="A library, or a document whose head is taken.")],
    sculpt: Annotated[Path, typer.Argument(help="The new head: .obj, .ply, .stl, .glb, any topology.")],
    landmarks: Annotated[Path, typer.Option(metavar="FILE", help="Landmarks of both sides, TOML or JSON.")],
    to: Annotated[Path, typer.Option(metavar="FOLDER", help="The folder to write to.")],
    guess: Annotated[
        bool, typer.Option("--guess", help="Also write where the landmarks that nobody placed came to lie.")
    ] = False,
    level: Annotated[
        int | None,
        typer.Option(
            metavar="N", min=0, max=8, help="Project up to this level, 0 to 8. Otherwise as fine as the sculpt."
        ),
    ] = None,
    reach: Annotated[
        float | None, typer.Option(metavar="MM", min=0.0, help="How far a vertex may be moved onto the sculpt, mm.")
    ] = None,
    free: Annotated[
        list[str] | None, typer.Option(metavar="GROUP", help="A face group that is not to follow; may be repeated.")
    ] = None,
    protect: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A .npy mask of vertices that are not projected.")
    ] = None,
    no_relax: Annotated[bool, typer.Option("--no-relax", help="Leave the loops as the fit leaves them.")] = False,
    any_size: Annotated[bool, typer.Option("--any-size", help="Take a sculpt of any size.")] = False,
    turn_over: Annotated[bool, typer.Option("--turn-over", help="Turn the sculpt's faces over.")] = False,
    neutral: Neutral = None,
    unit: Unit = None,
    sculpt_unit: Annotated[str | None, typer.Option(metavar="UNIT", help=f"The sculpt's unit: {UNITS}.")] = None,
    no_pictures: Annotated[bool, typer.Option("--no-pictures", help="Leave the pictures out.")] = False,
) -> None:
    """Bring the library's topology onto a sculpt.

    The mesh is fitted, relaxed, and projected level by level. The fit goes through the placed landmarks alone; four do,
    and all help. What --guess writes is looked at and corrected by you, and is then a landmark file for a second fit.

    Exit code 1 where faces are left turned over or folded.

    Example: moue fit keeper ferrier.obj --landmarks ferrier.landmarks.toml --to fitted
    """
    from composer.cli.progress import bar
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.mask_file import read_mask
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.fitting.align import check_pairs, landmark_pairs
    from composer.fitting.chain import fit_head
    from composer.fitting.closest import ClosestSurface
    from composer.fitting.fit_state import FitOptions
    from composer.fitting.fitted_files import MANIFEST, write_fitted
    from composer.fitting.fitted_landmarks import found_landmarks
    from composer.formats.library import head_of, open_library
    from composer.formats.registry import read_mesh
    from composer.head.landmark_file import read_landmark_pairs, write_landmarks
    from composer.head.new_folder import may_fill
    from composer.units import mm_per

    may_fill(to, MANIFEST, "fit")
    with bar("opening") as progress:
        library = (
            EvaluatedDocument.open(open_document(head)).head if is_document(head) else open_library(head, neutral, unit)
        )
        mesh = read_mesh(sculpt, sculpt_unit)
        shown = head_of(mesh, sculpt_unit)
        ours, theirs = read_landmark_pairs(landmarks, mm_per(library.unit), mm_per(shown.unit))
        ours = _both(library.landmarks, ours)
        if not ours:
            raise MoueError("has no landmarks, and neither does the library", landmarks)
        library = library.with_(landmarks=ours)
        triangles = shown.polygons.triangles
        surface = ClosestSurface(shown.neutral, triangles[:, ::-1] if turn_over else triangles)
        notes: tuple[str, ...] = ()
        try:
            check_pairs(landmark_pairs(library, ours, theirs, shown.neutral), library, surface, any_size, sculpt)
            if len(theirs.points) < FEW:
                notes = (f"The fit goes through {len(theirs.points)} landmarks only; place more to hold it better.",)
        except MoueError as error:
            raise MoueError(error.what, sculpt if error.where == sculpt else landmarks, hint=error.hint) from None
        try:
            options = FitOptions(
                groups=tuple(free) if free else None, relaxed=not no_relax, reach_mm=reach, up_to=level,
                protect=None if protect is None else read_mask(protect), any_size=any_size, turn_over=turn_over,
                where=sculpt,
            )  # fmt: skip
            fitted = fit_head(library, shown.neutral, shown.polygons, ours, theirs, options, progress)
        except MoueError as error:
            raise error.at(sculpt) from None
        progress(0.98, "writing and picturing")

        def more(made: Path) -> list[Path]:
            added = []
            if guess:
                found = found_landmarks(library, fitted.head.neutral, surface, theirs.points)
                every = replace(theirs, points={**theirs.points, **found})
                write_landmarks(made / GUESSED, ours, every, mm_per(library.unit), mm_per(shown.unit))
                added.append(made / GUESSED)
            if not no_pictures:
                added.append(_picture(library, shown, fitted, made))
            return added

        files = write_fitted(fitted, to, shown.unit, more)
    for note in [*notes, *fitted.report.notes]:
        console.note(note)
    report = fitted.report
    worst = max(report.landmarks.items(), key=lambda one: one[1], default=("", 0.0))
    console.say(
        f"distance to the sculpt: median {report.distance.median:.3f}, p95 {report.distance.p95:.3f}, "
        f"max {report.distance.max:.3f} mm"
    )
    console.say(f"landmarks: within {worst[1]:.2f} mm, {worst[0]} the furthest")
    console.say(
        f"faces reversed {report.reversed_faces}, folded {report.folded_faces}; "
        f"corner angles changed by {report.loops.angle_median_deg:.1f} degrees (median), "
        f"edge lengths by {report.loops.length_median:.2f}x"
    )
    console.say(
        f"rejected {report.rejected}, filled {report.filled}, free {report.free}; reach {report.reach_mm:.1f} mm"
    )
    for file in files:
        console.say(str(file))
    if report.reversed_faces or report.folded_faces or any(each.bad_faces for each in fitted.levels):
        raise typer.Exit(1)


def _both(own: Landmarks | None, said: Landmarks) -> Landmarks:
    """The library's landmarks with those that the file says in their place."""
    from composer.head.landmarks import Landmarks

    if own is None:
        return said
    return Landmarks({**own.points, **said.points}, {**own.curves, **said.curves})


def _picture(library: Head, sculpt: Head, fitted: FittedHead, folder: Path) -> Path:
    """The sculpt, the fitted cage and the library's own head, from the front and at three quarters."""
    from PIL import Image

    from composer.head.atomic import write_whole
    from composer.picture.render import Studio, render_head

    rows: list[list[Image.Image]] = []
    of_sculpt = Studio.of(sculpt, 0)
    for view in ("front", "three_quarter"):
        size = (420, 520)
        camera = of_sculpt.camera(view, size)
        on = render_head(
            fitted.head.neutral, library.polygons, parts=library.parts, groups=library.groups,
            landmarks=library.landmarks, view=view, size=size,
        )  # fmt: skip
        own = Studio.of(library, 1).picture(view=view, size=size)
        rows.append([own, of_sculpt.picture(camera=camera), on])
    whole = Image.new("RGB", (3 * 420, 2 * 520))
    for i, row in enumerate(rows):
        for j, picture in enumerate(row):
            whole.paste(picture, (420 * j, 520 * i))
    path = folder / "before_and_after.png"
    write_whole(path, lambda file: whole.save(file, "PNG"))
    return path
