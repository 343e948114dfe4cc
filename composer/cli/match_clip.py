"""`moue match --clip`: the frames of a performance become a clip."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from composer.cli import console
from composer.cli.sources import is_document

if TYPE_CHECKING:
    from composer.edits.match_clip import ClipOfFrames
    from composer.edits.match_frames import MatchedFrames
    from composer.mixing.match import Bounds

PICTURED, APART = 3, 0.5
"""Worst frames that are pictured, and how far they lie apart at least, in seconds (our choice)."""
SHOWN = 10
"""Most cells that are printed, the largest first (our choice); the clip holds all."""


def match_clip(
    head: Path, source: Path, to: Path | None, name: str, *, regions: Sequence[str] | None,
    shapes: Sequence[str] | None, bounds: Bounds, whole: bool, unit: str | None, fps: float | None, thin: float | None,
    report: Path | None, heat: Path | None, json_file: str | None,
) -> None:  # fmt: skip
    """Match frames, save the clip and its files, write what was asked for, and say what was found."""
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.evaluated_clip import evaluated_clip
    from composer.document.store import open_document, save_document
    from composer.edits.head_frames import HeadFrames
    from composer.edits.match_clip import POOR, check_clip_name, clip_of_frames
    from composer.edits.match_frames import faces_of, match_frames
    from composer.edits.match_source import library_project
    from composer.errors import MoueError
    from composer.formats.frame_sequence import read_sequence
    from composer.formats.mesh import Mesh
    from composer.head.atomic import write_whole
    from composer.head.file_names import file_names
    from composer.head.folders import is_there, make_folder
    from composer.head.outputs import may_write
    from composer.picture.match_clip_report import match_clip_report, worst_sheet
    from composer.picture.png import write_png

    if to is None and not is_document(head):
        raise MoueError("--to is needed for a library: the document that gets the clip", head)
    target = to or head
    if not is_document(target):
        raise MoueError("is not named as a document", target, hint="give a name that ends in .toml or .moue")
    if to is not None and is_there(to) and to.resolve() != head.resolve():
        raise MoueError("is there already", to, hint="give another file with --to")
    if thin is not None and not 0.0 < thin < 1000.0:
        raise MoueError(f"--thin {thin:g} is no tolerance in mm", hint="give one above 0")
    if fps is not None and not 0.001 <= fps <= 1000.0:
        raise MoueError(f"--fps {fps:g} is no rate", hint="give frames a second, from 1 to 1000")
    told = None if json_file in (None, "-") else Path(str(json_file))
    for file, suffix in ((report, ".html"), (heat, ".png"), (told, ".json")):
        if file is not None:
            may_write(file, suffix, (head, source), target.parent)
    notes: list[str] = []
    with bar("opening") as progress:
        if is_document(head):
            evaluated = EvaluatedDocument.open(open_document(head), progress)
        else:
            evaluated, notes = library_project(head, target, progress)
        check_clip_name(evaluated.project, target, name)
        face = Mesh(evaluated.head.polygons, evaluated.head.neutral, unit=None)
        sequence = read_sequence(source, file_names([name])[name], face)
        frames = HeadFrames(evaluated.head, sequence, unit, fps)
        found = match_frames(
            evaluated, frames, regions, shapes, bounds=bounds, whole=whole, progress=lambda d, w: progress(0.9 * d, w)
        )  # fmt: skip
        progress(0.9, "writing the clip")
        made = clip_of_frames(evaluated, target, name, found, thin)
        worst = found.left.worst(PICTURED, int(APART * found.fps))
        if report is not None or heat is not None:
            faces = list(faces_of(evaluated, frames, found, worst))
            picture = worst_sheet(evaluated.head, found, faces)
        make_folder(target.parent)
        project = save_document(made.project, target, beside=made.write_files, new=to is not None and not is_there(to))
        if heat is not None:
            write_png(heat, picture)
        if report is not None:
            page = match_clip_report(evaluated_clip(evaluated.again(project), name), found, worst, picture)
            write_whole(report, lambda file: file.write(page.encode()))
    if json_file is not None:
        write_json(json_file, {"document": str(target), "clip": name, **_as_dict(found, made)})
    for sentence in [*evaluated.notes, *notes, *found.notes]:
        console.note(sentence)
    if json_file != "-":
        _say(target, name, found, made)
    if found.left.explained < POOR:
        console.warn("No weights of these cells reach these frames; look at --report, or match with more shapes.")
        raise typer.Exit(1)


def _as_dict(found: MatchedFrames, made: ClipOfFrames) -> dict[str, object]:
    left, worst = found.left, found.left.worst(1, 0)
    return {
        "frames": len(found.times), "fps": found.fps, "explained": left.explained, "noise_mm": found.noise_mm,
        "cells": [
            {"region": key[0], "shape": key[1], "most": float(found.weights[:, column].max())}
            for column, key in enumerate(found.cells)
        ],
        "mean_mm": left.mean.tolist(), "p95_mm": left.p95.tolist(), "max_mm": left.most.tolist(),
        "vertex": left.vertex.tolist(), "worst_frame": worst[0] if worst else None,
        "head_motion": str(made.motion) if made.motion else None,
        "keys": len(made.thinned.keys) if made.thinned else None,
        "thinned_off_mm": made.thinned.off_mm if made.thinned else None,
    }  # fmt: skip


def _say(target: Path, name: str, found: MatchedFrames, made: ClipOfFrames) -> None:
    """Say what was found."""
    left = found.left
    largest = sorted(range(len(found.cells)), key=lambda column: -float(abs(found.weights[:, column]).max()))
    for column in largest[:SHOWN]:
        region, shape, _ = found.cells[column]
        row = found.weights[:, column]
        console.say(f"{row.min():7.3f} to {row.max():.3f}  {region} x {shape}")
    if len(largest) > SHOWN:
        console.say(f"    and {len(largest) - SHOWN} more")
    cells = console.counted(len(found.cells), "cell")
    reached = f"{100 * left.explained:.1f} percent of the movement"
    console.say(
        f"{target}: clip {name!r}, {len(found.times)} frames at {found.fps:g} a second; {cells} "
        f"{'reaches' if len(found.cells) == 1 else 'reach'} {reached}; left: mean {left.mean.mean():.3g} mm, "
        f"95th percentile {left.p95.mean():.3g} mm, maximum {left.most.max():.3g} mm in frame {left.most.argmax()}",
        hang=2,
    )
    if made.thinned is not None:
        whole = len(found.cells) * len(found.times)
        console.say(f"  {len(made.thinned.keys):,} keys in place of {whole:,}; no vertex is off by more than "
                    f"{made.thinned.off_mm:.3g} mm")  # fmt: skip
    for file in made.files:
        console.say(f"  {file}" + (": the head's own motion" if file == made.motion else ""))
