"""`moue clip`: weights over time, checked, pictured and baked."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, UNITS, Json, KeptView

if TYPE_CHECKING:
    from composer.checks.clip_check import ClipChecked
    from composer.document.clip_against import ClipAgainst
    from composer.document.evaluated_clip import EvaluatedClip
    from composer.document.project import Project

KNOWN = ("obj", "ply", "npz", "glb", "gltf", "usd", "usda", "usdc", "usdz")
Form = StrEnum("Form", {each.upper(): each for each in KNOWN})  # type: ignore[misc]
"""The formats that a clip is baked in."""
FORMS = ", ".join(Form)
MOST_LISTED = 10
"""Frames that are listed one by one (our choice)."""


def clip(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    name: Annotated[str | None, typer.Argument(help="The clip; without it the clips are listed.")] = None,
    bake: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write the clip's frames to this folder.")
    ] = None,
    form: Annotated[
        Form, typer.Option("--format", metavar="FORMAT", help=f"What to bake: {FORMS}.")
    ] = Form["OBJ"],
    level: Annotated[int, typer.Option(metavar="N", help="Subdivide this often, 0 to 8.")] = 0,
    unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help=f"Bake in this unit, or take --against in it: {UNITS}.")
    ] = None,
    over: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Overwrite this changed file; may be repeated.")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Run every check on every frame, and look for pops.")] = False,
    against: Annotated[
        Path | None, typer.Option(metavar="PATH", help="Compare with frames: a folder of meshes, .npz, .glb or USD.")
    ] = None,
    within: Annotated[
        float, typer.Option(metavar="MM", help="How far frames may lie from the clip, for --against.")
    ] = 0.1,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Check, and write a page with pictures, .html, here.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write a PNG a frame and an animated WebP to this folder.")
    ] = None,
    view: KeptView = "three_quarter",
    json_file: Json = None,
) -> None:
    """Check, picture and bake a clip: recipes and cells over time.

    A document holds clips as [clips.NAME], with keys or a file of weights.
    Exit code 1 where a finding is an error, or a frame is further off.

    Example: moue clip document.toml tide --check --report tide.html

    Example: moue clip document.toml tide --bake frames --format npz
    """
    from composer.checks.clip_check import check_clip
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.cli.settle import keep_hinges
    from composer.document.bake_clip import bake_clip
    from composer.document.clip_against import clip_against
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.evaluated_clip import evaluated_clip
    from composer.document.store import open_document
    from composer.formats.frame_sequence import read_sequence
    from composer.head.atomic import write_whole
    from composer.head.file_names import file_names
    from composer.head.new_folder import may_fill
    from composer.head.outputs import may_write
    from composer.picture.clip_picture import write_pictures
    from composer.picture.clip_report import clip_report
    from composer.picture.frames_on_disk import MANIFEST
    from composer.picture.views import view_named

    project = open_document(document)
    if name is None:
        _list(project)
        return
    project.clip(name)
    seen = view_named(view, project.views)
    if report is not None:
        may_write(report, ".html", (document, project.head_path))
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", (document, project.head_path))
    frames = read_sequence(against, file_names([name], ".obj")[name]) if against is not None else None
    if picture is not None:
        may_fill(picture, MANIFEST, "pictures")
    checked: ClipChecked | None = None
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        made = evaluated_clip(evaluated, name)
        files: list[Path] = []
        compared = clip_against(made, frames, unit, progress) if frames is not None else None
        if check or report is not None or (json_file is not None and compared is None):
            checked = check_clip(made, progress)
        if checked is not None and report is not None:
            page = clip_report(checked, progress=progress)
            write_whole(report, lambda file: file.write(page.encode()))
        if bake is not None:
            files = bake_clip(
                made, bake, suffix=f".{form.value}", unit=unit, level=level, over=over or (), progress=progress
            )  # fmt: skip
        if picture is not None:
            files += write_pictures(made, picture, view=seen, progress=progress)
    if bake is not None:
        keep_hinges(project, evaluated, document)
    if json_file is not None:
        told = checked.as_dict() if checked is not None else {"clip": name}
        write_json(json_file, told | ({} if compared is None else {"against": compared.as_dict()}))
    for note in (*evaluated.notes, *made.notes):
        console.note(note)
    if json_file != "-":
        _say(made)
        if checked is not None:
            _say_checked(checked)
        if compared is not None:
            _say_compared(compared, within)
        _say_files(files)
    if compared is not None and compared.further(within):
        raise typer.Exit(1)
    if checked is not None and any(one.finding.severity == "error" for one in checked.faults):
        raise typer.Exit(1)


def _list(project: Project) -> None:
    """Say which clips a document has."""
    if not project.clips:
        console.say("The document holds no clips; add one under [clips.NAME].")
    for clip in project.clips:
        what = clip.file or console.counted(len(clip.keys), "key")
        lasts = "" if clip.length is None else f"{clip.length:g} s, "
        console.say(f"{clip.name}: {lasts}{clip.fps:g} frames a second, {what}")


def _say(made: EvaluatedClip) -> None:
    """Say what a clip is."""
    cells = console.counted(len(made.cells), "cell")
    frames = console.counted(made.n_frames, "frame")
    console.say(f"{made.clip.name}: {made.length:g} s, {frames} at {made.clip.fps:g} a second, {cells}")


def _say_compared(compared: ClipAgainst, within: float) -> None:
    """Say how far frames lie from the clip."""
    worst, far, total = compared.worst, compared.further(within), len(compared.frames)
    level = f" at level {compared.level}" if compared.level else ""
    console.say(f"{compared.sequence.path}: {total - len(far)} of {total} frames{level} within {within:g} mm")
    at = f"frame {worst.number}, {worst.time:.2f} s, vertex {worst.vertex}"
    console.say(f"  furthest {worst.worst_mm:.4g} mm at {at}; mean there {worst.mean_mm:.3g} mm")
    for frame in far[:MOST_LISTED]:
        console.say(f"  frame {frame.number}, {frame.time:.2f} s: {frame.worst_mm:.3g} mm at vertex {frame.vertex}")
    if len(far) > MOST_LISTED:
        console.say(f"  and {len(far) - MOST_LISTED:,} more")


def _say_files(files: Sequence[Path]) -> None:
    """Say which files were written; the frames of a long clip as one line."""
    frames = [file for file in files if file.stem[-4:].isdigit()]
    if len(frames) > MOST_LISTED:
        files = [file for file in files if file not in frames]
    for file in files:
        console.say(str(file))
    if len(frames) > MOST_LISTED:
        console.say(f"{frames[0]} to {frames[-1].name}: {len(frames):,} frames")


def _say_checked(checked: ClipChecked) -> None:
    """Say what the checks found, worst first, each fault once."""
    from composer.checks.words import plain

    count = console.counted(len(checked.faults), "finding") if checked.faults else "nothing found"
    console.say(f"{console.counted(checked.clip.n_frames, 'frame')} checked: {count}")
    worst = checked.worst_frames(3)
    if worst:
        console.say("worst at " + ", ".join(f"{checked.clip.times[number]:.2f} s" for number in worst))
    for one in checked.faults:
        f, where = checked.told(one), plain(one.finding.where)
        place = f" ({where})" if where and where not in plain(f.words) else ""
        at = f"at {checked.clip.times[one.worst]:.2f} s, frame {one.worst}"
        console.say(f"  {f.severity} {f.code}{place} {at}: {f.words}" + (f"; {f.hint}" if f.hint else ""), hang=4)
