"""`moue try`: an animator's trials without the window, each as one sheet with what the checks find written under it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, Columns, Json, Only, View, recipes_of

if TYPE_CHECKING:
    from composer.checks.checked import Checked
    from composer.checks.finding import Finding
    from composer.checks.subject import HeadFacts
    from composer.document.evaluated import EvaluatedDocument
    from composer.mixing.recipe import CellKey, Recipe
    from composer.progress import Progress

MOST = 400  # pictures on one sheet
MODES = "give one of --sweep REGION:SHAPE, --pairs, --random N"


def try_(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[Path, typer.Option(metavar="FILE", help="The PNG to write.")],
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
    seed: Annotated[int, typer.Option(metavar="N", min=0, help="The same seed gives the same combinations.")] = 1,
    cells: Annotated[int, typer.Option(metavar="N", min=1, max=64, help="Cells of a combination, 1 to 64.")] = 4,
    symmetric: Annotated[bool, typer.Option("--symmetric", help="Combine both sides alike.")] = False,
    keep_worst: Annotated[
        int, typer.Option(metavar="N", min=1, max=MOST, help="Picture this many, the worst first.")
    ] = 12,
    keep_in: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write a document with the worst combinations as recipes here."),
    ] = None,
    view: View = "front",
    columns: Columns = None,
    json_file: Json = None,
) -> None:
    """Picture a sweep, pairs of recipes, or random combinations.

    One sheet shows them all, and says what the checks find in each.

    Example: moue try document.toml --sweep upper_lid_left:au43_left --steps 9 --to sweep.png

    Example: moue try document.toml --pairs --to pairs.png

    Example: moue try document.toml --random 200 --seed 7 --keep-worst 12 --keep-in worst.moue --to worst.png
    """
    from composer.checks.subject import HeadFacts
    from composer.cli.outputs import may_write
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document
    from composer.errors import MoueError
    from composer.head.atomic import write_whole
    from composer.picture.render import Studio
    from composer.picture.sheet import Entry, contact_sheet

    if (sweep is not None) + pairs + (random is not None) != 1:
        raise MoueError("one trial at a time", hint=MODES)
    if keep_in is not None and random is None:
        raise MoueError("only random combinations can be kept", keep_in, hint="give --random N")
    if low > high:
        raise MoueError(f"weights from {low:g} to {high:g} go backwards", hint="give --low below --high")
    project = open_document(document)
    sources = (document, project.head_path)
    may_write(to, ".png", sources)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", sources)
    if keep_in is not None:
        _may_keep(keep_in)
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        facts = HeadFacts(evaluated.head)
        if sweep is not None:
            key = _cell_key(evaluated, sweep)
            checked, title = _swept(evaluated, key, recipe, (low, high), steps, progress, facts), f"{sweep} swept"
        elif pairs:
            checked, title = _paired(evaluated, recipe, progress, facts), f"{document.stem}: recipes played together"
        else:
            from composer.checks.random_trials import worst_random

            checked = worst_random(
                evaluated, int(random or 0), seed, keep_worst, cells=cells, symmetric=symmetric, limits=(low, high),
                progress=progress, facts=facts,
            )  # fmt: skip
            title = f"{document.stem}: the worst {len(checked)} of {random} combinations"
        entries = [Entry(one.name, one.positions, _under(one.findings)) for one in checked]
        sheet = contact_sheet(
            Studio.of(evaluated.head), entries, title=title, view=view, columns=columns, progress=progress,
        )  # fmt: skip
    write_whole(to, lambda file: sheet.image.save(file, "PNG"))
    if keep_in is not None:
        _keep(evaluated, keep_in, checked)
    if json_file is not None:
        write_json(json_file, [_as_dict(one) for one in checked])
    if json_file != "-":
        console.say(str(to))
        if keep_in is not None:
            console.say(str(keep_in))


def _cell_key(evaluated: EvaluatedDocument, words: str) -> CellKey:
    """The cell that REGION:SHAPE names. Raises MoueError for what is none."""
    from composer.errors import MoueError, unknown
    from composer.mixing.recipe import ALL

    region, colon, shape = words.partition(":")
    if not (region and colon and shape):
        raise MoueError(f"{words!r} names no cell", hint="give REGION:SHAPE, such as cheek_left:joy")
    regions = [ALL, *evaluated.effective]
    if region not in regions:
        raise unknown("region", region, regions, evaluated.project.path)
    if shape not in evaluated.head.shape_index:
        raise unknown("shape", shape, evaluated.head.shape_names, evaluated.project.path)
    return (region, shape, False)


def _swept(
    evaluated: EvaluatedDocument, key: CellKey, names: list[str] | None, limits: tuple[float, float], steps: int,
    progress: Progress,
    facts: HeadFacts,
) -> list[Checked]:  # fmt: skip
    from composer.checks.checked import Checked
    from composer.checks.of_document import check_recipes
    from composer.edits.trials import sweep
    from composer.errors import MoueError
    from composer.mixing.recipe import Recipe

    if names is not None and len(set(names)) > 1:
        raise MoueError("a cell is swept on one recipe", hint="give --recipe once")
    base = recipes_of(evaluated.project, names)[0] if names else Recipe("alone")
    swept = sweep(base, key, *limits, steps)
    at = [next(cell.weight for cell in each.cells if cell.key == key) for each in swept]
    checks = check_recipes(evaluated, swept, progress, facts)
    return [
        Checked(f"{weight:.3g}", pose, [f for f in findings if not f.code.startswith("empty.")], recipe=each)
        for weight, (each, pose, findings) in zip(at, checks, strict=True)
    ]


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


def _under(findings: Sequence[Finding]) -> str:
    """The worst finding in a few words, and how many more there are."""
    from composer.checks.words import title_of

    grave = sorted((f for f in findings if f.severity != "note"), key=lambda f: f.rank)
    if not grave:
        return "nothing found"
    more = f", {len(grave) - 1} more" if len(grave) > 1 else ""
    return f"{title_of(grave[0])} {grave[0].measure}".strip() + more


def _as_dict(one: Checked) -> dict[str, object]:
    cells = [] if one.recipe is None else [
        {"region": c.region, "shape": c.shape, "weight": c.weight, "mirrored": c.mirrored} for c in one.recipe.cells
    ]  # fmt: skip
    return {"name": one.name, "cells": cells, "findings": [finding.as_dict() for finding in one.findings]}


def _may_keep(path: Path) -> None:
    from composer.cli.sources import is_document
    from composer.errors import MoueError

    if not is_document(path):
        raise MoueError("is not named as a document", path, hint="give a name that ends in .moue or .toml")
    if path.exists():
        raise MoueError("is there already", path, hint="choose another name")


def _keep(evaluated: EvaluatedDocument, path: Path, checked: Sequence[Checked]) -> None:
    """Write a document at `path` that is the one at hand with these combinations as its only recipes."""
    from composer.document.store import moved_to, save_document
    from composer.head.folders import make_folder

    make_folder(path.parent)
    recipes = tuple(one.recipe.with_(note=_under(one.findings)) for one in checked if one.recipe is not None)
    save_document(moved_to(evaluated.project.with_(recipes=recipes), path), path)
