"""`moue match`: the weights that reproduce a target."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.alone import alone_on
from composer.cli.sources import DOCUMENT, LIBRARY, UNITS, Json, is_document

POOR = 0.5
"""Least share of a target's movement that the weights must reach; below it the exit code is 1 (our choice)."""
SHOWN = 10
"""Most cells that are printed, the largest first (our choice); the document holds all."""


@alone_on("to", "head")
def match(
    head: Annotated[Path, typer.Argument(help=f"{DOCUMENT} Or: {LIBRARY}")],
    target: Annotated[
        Path, typer.Argument(help="The face to reproduce, in the head's own topology, or, with --clip, the frames.")
    ],
    to: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The .moue file or document.toml to write; --clip needs none.")
    ] = None,
    clip: Annotated[
        str | None, typer.Option(metavar="NAME", help="Match frames, a mesh each or one file, as a clip of this name.")
    ] = None,
    fps: Annotated[float | None, typer.Option(metavar="N", help="The frames' rate; else the file's, or 24.")] = None,
    thin: Annotated[
        float | None, typer.Option(metavar="MM", help="Write keys, no vertex further off than this, not a table.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a page, .html, on a matched clip.")
    ] = None,
    region: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Only this region; `all` is the base row; may be repeated.")
    ] = None,
    shape: Annotated[list[str] | None, typer.Option(metavar="NAME", help="Only this shape; may be repeated.")] = None,
    low: Annotated[float, typer.Option(metavar="WEIGHT", help="The least weight, -1 to 0.")] = 0.0,
    high: Annotated[float, typer.Option(metavar="WEIGHT", help="The greatest weight, up to 2.")] = 1.0,
    sparse: Annotated[
        float, typer.Option(metavar="X", help="How few cells: 0 as many as help, 0.01 few, 0.1 very few.")
    ] = 0.01,
    whole: Annotated[
        bool, typer.Option("--whole/--no-whole", help="Try the whole face before the regions, or only the regions.")
    ] = True,
    symmetric: Annotated[bool, typer.Option("--symmetric", help="Give left and right the same weights.")] = False,
    residual: Annotated[
        str | None, typer.Option(metavar="NAME", help="Keep the residual as a shape of this name.")
    ] = None,
    heat: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a picture, .png, of the residual as heat.")
    ] = None,
    unit: Annotated[str | None, typer.Option(metavar="UNIT", help=f"The target's unit: {UNITS}.")] = None,
    json_file: Json = None,
) -> None:
    """Find the weights that reproduce a target, or a performance.

    With --clip the target is a folder of meshes, or an NPZ, GLB or USD file of frames: the document gets a clip, and
    the head's own motion lies beside it as a CSV.

    Exit code 1 where less than half of the target's movement is reached.

    The whole face is tried first, then regions, with few cells. `--sparse 0 --no-whole` uses every cell.

    The recipe keeps contact, unless --residual is given; distances are of its weights, before that.

    Example: moue match keeper scan.obj --to scan.moue

    Example: moue match clock.toml frames --clip take --report take.html
    """
    from composer.cli.match_clip import match_clip
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document, save_document
    from composer.edits.match import matched_document
    from composer.edits.match_file import match_file
    from composer.edits.match_source import library_project
    from composer.errors import MoueError
    from composer.head.folders import is_there, make_folder
    from composer.head.outputs import may_write
    from composer.mixing.match import Bounds
    from composer.picture.match_sheet import match_sheet
    from composer.picture.png import write_png

    bounds = Bounds(low, high, sparse)
    if clip is not None:
        if symmetric or residual is not None:
            raise MoueError("--symmetric and --residual are of one face", hint="leave them out with --clip")
        match_clip(
            head, target, to, clip, regions=region, shapes=shape, bounds=bounds, whole=whole, unit=unit, fps=fps,
            thin=thin, report=report, heat=heat, json_file=json_file,
        )  # fmt: skip
        return
    if fps is not None or thin is not None or report is not None:
        raise MoueError("--fps, --thin and --report are of frames", hint="give the clip's name with --clip")
    if to is None:
        raise MoueError("--to is needed: the document to write", hint="or --clip, for frames")
    if target.is_dir():
        raise MoueError("is a folder", target, hint="frames become a clip: give its name with --clip")
    if not is_document(to):
        raise MoueError("is not named as a document", to, hint="give a name that ends in .toml or .moue")
    if is_there(to):
        raise MoueError("is there already", to, hint="give another file with --to")
    for file, suffix in ((heat, ".png"), (None if json_file in (None, "-") else Path(str(json_file)), ".json")):
        if file is not None:
            may_write(file, suffix, (head, target), to.parent)
    notes: list[str] = []
    with bar("opening") as progress:
        if is_document(head):
            evaluated = EvaluatedDocument.open(open_document(head), progress)
        else:
            evaluated, notes = library_project(head, to, progress)
        progress(0.5, "matching")
        result = match_file(
            evaluated, target, region, shape, bounds=bounds, symmetric=symmetric, whole=whole, unit=unit
        )  # fmt: skip
        matched, conditioning = result.few.matched, result.conditioning
        taken = [*evaluated.head.shape_names, evaluated.head.neutral_name]
        document = matched_document(evaluated.project, to, target.stem, matched, residual, taken)
        make_folder(to.parent)
        if heat is not None:
            picture = match_sheet(evaluated.head, result.sculpt.positions, matched.left, target.stem).image
            write_png(heat, picture)
        save_document(document, to, new=True)  # last: a stopped match leaves no document behind
    cells = document.recipes[0].cells
    middle, high_mm, most = matched.p50_p95_most
    if json_file is not None:
        write_json(json_file, {
            "document": str(to), "recipe": target.stem, "p50_mm": middle, "p95_mm": high_mm, "max_mm": most,
            "explained": matched.explained,
            "explained_whole": result.few.whole.explained if result.few.whole else None,
            "condition": _number(conditioning.number) if conditioning else None,
            "dependent": conditioning.dependent if conditioning else None,
            "dead": conditioning.dead if conditioning else None,
            "cells": [{"region": c.region, "shape": c.shape, "weight": c.weight} for c in cells],
        })  # fmt: skip
    for sentence in [*evaluated.notes, *notes, conditioning.words if conditioning else "", result.few.words or ""]:
        if sentence:
            console.note(sentence)
    if json_file != "-":
        largest = sorted(cells, key=lambda cell: -abs(cell.weight))
        for cell in largest[:SHOWN]:
            console.say(f"{cell.weight:7.3f}  {cell.region} x {cell.shape}")
        if len(cells) > SHOWN:
            console.say(f"    and {len(cells) - SHOWN} more, of at most {abs(largest[SHOWN].weight):.3f}")
        reached = f"{100 * matched.explained:.1f} percent of the movement"
        console.say(
            f"{to}: recipe {target.stem!r}, {console.counted(len(cells), 'cell')} "
            f"{'reaches' if len(cells) == 1 else 'reach'} {reached}; "
            f"residual: median {middle:.3g} mm, 95th percentile {high_mm:.3g} mm, maximum {most:.3g} mm",
            hang=2,
        )
    if matched.explained < POOR:
        console.warn("No weights of these cells reach this target; look at --heat, or match with more shapes.")
        raise typer.Exit(1)


def _number(condition: float) -> float | None:
    return condition if condition != float("inf") else None
