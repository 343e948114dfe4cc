"""`moue clip`: weights over time, baked."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, UNITS

if TYPE_CHECKING:
    from composer.document.evaluated_clip import EvaluatedClip
    from composer.document.project import Project

Form = StrEnum("Form", {each.upper(): each for each in ("obj", "ply", "npz")})  # type: ignore[misc]
"""The formats that a clip is baked in."""
FORMS = ", ".join(Form)


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
        str | None, typer.Option(metavar="UNIT", help=f"Bake in this unit instead of the head's own: {UNITS}.")
    ] = None,
    over: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Overwrite this changed file; may be repeated.")
    ] = None,
) -> None:
    """Bake a clip: recipes and cells over time.

    A document holds clips as [clips.NAME], with keys or a file of weights.

    Example: moue clip document.toml tide --bake frames --format npz
    """
    from composer.cli.progress import bar
    from composer.document.bake_clip import bake_clip
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.evaluated_clip import evaluated_clip
    from composer.document.store import open_document

    project = open_document(document)
    if name is None:
        _list(project)
        return
    project.clip(name)
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        made = evaluated_clip(evaluated, name)
        files: list[Path] = []
        if bake is not None:
            files = bake_clip(
                made, bake, suffix=f".{form.value}", unit=unit, level=level, over=over or (), progress=progress
            )  # fmt: skip
    for note in (*evaluated.notes, *made.notes):
        console.note(note)
    _say(made)
    for file in files:
        console.say(str(file))


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
