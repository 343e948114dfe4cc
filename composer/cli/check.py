"""`moue check`: all checks on a document, its recipes, the poses on the way to each, and pairs of recipes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, NO_RECIPES, Json, Only, recipes_of

if TYPE_CHECKING:
    from composer.checks.checked import Checked


def check(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    recipe: Only = None,
    sweep: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            min=4,
            max=201,
            help="Also check each recipe from strength 0 to 1, in this many steps, 4 to 201.",
        ),
    ] = None,
    pairs: Annotated[bool, typer.Option("--pairs", help="Also check every two recipes played together.")] = False,
    cells: Annotated[
        bool, typer.Option("--cells", help="Also sweep each cell, and pair the cells inside each recipe.")
    ] = False,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a page with pictures, .html, here.")
    ] = None,
    json_file: Json = None,
) -> None:
    """Find faults in a document and its recipes.

    Exit code 1 where a finding is an error.

    Example: moue check document.toml --sweep 9 --pairs --report report.html
    """
    from composer.checks.every_check import check_all
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.store import open_document
    from composer.head.atomic import write_whole
    from composer.head.outputs import may_write
    from composer.picture.render import Studio
    from composer.picture.report import html_report

    project = open_document(document)
    sources = (document, project.head_path)
    if report is not None:
        may_write(report, ".html", sources)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", sources)
    recipes = recipes_of(project, recipe)
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        checked = check_all(evaluated, recipes, sweep=sweep, pairs=pairs, cells=cells, progress=progress)
        if report is not None:
            page = html_report(
                Studio.of(evaluated.head), checked, title=f"Checks of {document.stem}", progress=progress
            )
            write_whole(report, lambda file: file.write(page.encode()))
    if json_file is not None:
        write_json(json_file, {one.name: [f.as_dict() for f in one.findings] for one in checked})
    if json_file != "-":
        _say(checked, bool(recipes))
    if any(f.severity == "error" for one in checked for f in one.findings):
        raise typer.Exit(1)


def _say(checked: Sequence[Checked], any_recipes: bool) -> None:
    from composer.checks.words import plain

    if not any_recipes:
        console.say(NO_RECIPES)
    for one in checked:
        count = console.counted(len(one.findings), "finding") if one.findings else "nothing found"
        console.say(f"{one.name}: {count}")
        for f in one.findings:
            where = plain(f.where)
            place = f" ({where})" if where and where not in plain(f.words) else ""
            console.say(f"  {f.severity} {f.code}{place}: {f.words}" + (f"; {f.hint}" if f.hint else ""), hang=4)
