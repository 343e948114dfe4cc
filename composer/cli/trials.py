"""`moue try`: an animator's trials without the window, on one sheet with the findings of the checks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, Columns, Json, KeptView, Only, recipes_of

if TYPE_CHECKING:
    from composer.checks.checked import Checked
    from composer.checks.subject import HeadFacts
    from composer.document.evaluated import EvaluatedDocument
    from composer.mixing.recipe import Recipe
    from composer.progress import Progress

MOST = 400
"""Most pictures on one sheet (our choice)."""
MODES = "give one of --sweep REGION:SHAPE, --pairs, --random N"


def try_(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[Path, typer.Option(metavar="FILE", help="The .png to write; a sweep may move as a .webp.")],
    sweep: Annotated[
        str | None, typer.Option(metavar="REGION:SHAPE", help="One cell from --low to --high, on --recipe if given.")
    ] = None,
    pairs: Annotated[bool, typer.Option("--pairs", help="Every two recipes played together.")] = False,
    random: Annotated[int | None, typer.Option(metavar="N", min=1, help="This many random combinations.")] = None,
    recipe: Only = None,
    steps: Annotated[int, typer.Option(metavar="N", min=2, max=MOST, help=f"Pictures of a sweep, 2 to {MOST}.")] = 9,
    low: Annotated[float, typer.Option(metavar="WEIGHT", min=-1.0, max=2.0, help="The least weight, -1 to 2.")] = 0.0,
    high: Annotated[
        float, typer.Option(metavar="WEIGHT", min=-1.0, max=2.0, help="The greatest weight, -1 to 2.")
    ] = 1.0,
    seed: Annotated[int, typer.Option(metavar="N", min=0, help="Seed of the random combinations.")] = 1,
    cells: Annotated[int, typer.Option(metavar="N", min=1, max=64, help="Cells of a combination, 1 to 64.")] = 4,
    symmetric: Annotated[bool, typer.Option("--symmetric", help="Give left and right the same weights.")] = False,
    keep_worst: Annotated[
        int, typer.Option(metavar="N", min=1, max=MOST, help="Picture this many, the worst first.")
    ] = 12,
    keep_in: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write a document with the worst combinations as recipes here."),
    ] = None,
    view: KeptView = "front",
    columns: Columns = None,
    json_file: Json = None,
) -> None:
    """Picture a sweep, pairs of recipes, or random combinations.

    One sheet shows all of them with the findings of the checks.

    Example: moue try document.toml --sweep upper_lid_left:au43_left --steps 9 --to sweep.png

    Example: moue try document.toml --pairs --to pairs.png

    Example: moue try document.toml --random 200 --seed 7 --keep-worst 12 --keep-in worst.moue --to worst.png
    """
    from composer.checks.random_trials import keep_combinations, worst_random
    from composer.checks.subject import HeadFacts
    from composer.checks.swept_cell import named_cell, sweep_cell
    from composer.checks.words import in_few_words
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.head.atomic import write_whole
    from composer.head.outputs import may_write
    from composer.mixing.recipe import Recipe
    from composer.picture.clip_picture import there_and_back
    from composer.picture.face import face_points
    from composer.picture.png import write_png
    from composer.picture.render import Studio
    from composer.picture.sheet import Entry, contact_sheet, in_turn
    from composer.picture.views import view_named

    if (sweep is not None) + pairs + (random is not None) != 1:
        raise MoueError("one trial at a time", hint=MODES)
    if keep_in is not None and random is None:
        raise MoueError("only random combinations can be kept", keep_in, hint="give --random N")
    if sweep is not None and recipe is not None and len(set(recipe)) > 1:
        raise MoueError("--sweep takes one recipe", hint="give --recipe once")
    if low > high:
        raise MoueError(f"--low {low:g} is above --high {high:g}", hint="give --low below --high")
    project = open_document(document)
    seen = view_named(view, project.views)
    sources = (document, project.head_path)
    moving = sweep is not None and to.suffix.lower() == ".webp"
    may_write(to, ".webp" if moving else ".png", sources)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", sources)
    if keep_in is not None:
        _may_keep(keep_in)
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        facts = HeadFacts(evaluated.head)
        if sweep is not None:
            key = named_cell(evaluated, sweep)
            base = recipes_of(project, recipe)[0] if recipe else Recipe("alone")
            checked = sweep_cell(evaluated, key, base, (low, high), steps, progress=progress, facts=facts)
            title = f"{sweep} swept"
        elif pairs:
            checked, title = _paired(evaluated, recipe, progress, facts), f"{document.stem}: recipes played together"
        else:
            checked = worst_random(
                evaluated, int(random or 0), seed, keep_worst, cells=cells, symmetric=symmetric, limits=(low, high),
                progress=progress, facts=facts,
            )  # fmt: skip
            title = f"{document.stem}: the worst {len(checked)} of {random} combinations"
        entries = [Entry(one.name, one.positions, in_few_words(one.findings)) for one in checked]
        studio = Studio.of(evaluated.head)
        if moving:
            face = face_points(evaluated.head)
            swing = there_and_back(in_turn(studio, entries, view=seen, face=face, progress=progress))
            write_whole(to, lambda file: file.write(swing))
        else:
            sheet = contact_sheet(studio, entries, title=title, view=seen, columns=columns, progress=progress)
            write_png(to, sheet.image)
    if keep_in is not None:
        keep_combinations(evaluated, checked, keep_in)
    if json_file is not None:
        write_json(json_file, [one.as_dict() for one in checked])
    if json_file != "-":
        console.say(str(to))
        if keep_in is not None:
            console.say(str(keep_in))


def _paired(
    evaluated: EvaluatedDocument, names: list[str] | None, progress: Progress, facts: HeadFacts
) -> list[Checked]:
    from composer.checks.pairs import every_pair
    from composer.errors import MoueError

    recipes: Sequence[Recipe] = recipes_of(evaluated.project, names)
    count = len(recipes) * (len(recipes) - 1) // 2
    if not count:
        raise MoueError("has fewer than two recipes to play together", evaluated.project.path)
    if count > MOST:
        hint = "name some of them with --recipe"
        raise MoueError(f"{len(recipes)} recipes are {count} pairs, more than the {MOST} of a sheet", hint=hint)
    return list(every_pair(evaluated, recipes, progress=progress, facts=facts))


def _may_keep(path: Path) -> None:
    from composer.cli.sources import is_document
    from composer.errors import MoueError

    if not is_document(path):
        raise MoueError("is not named as a document", path, hint="give a name that ends in .moue or .toml")
    if path.exists():
        raise MoueError("is there already", path, hint="choose another name")
