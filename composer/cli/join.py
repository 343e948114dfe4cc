"""`moue join`: the seamless join of each recipe compared with the linear one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.sources import DOCUMENT, NO_RECIPES, Json, KeptView, Only, recipes_of


def join(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    recipe: Only = None,
    to: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a picture, .png, of both joins of every recipe side by side."),
    ] = None,
    view: KeptView = "front",
    json_file: Json = None,
) -> None:
    """Compare linear and seamless joins in numbers.

    Where regions meet it lists the strain and the turned faces, and how far the join moves the skin outside.

    Example: moue join document.toml --recipe wink --to wink.png
    """
    from composer.checks.join_report import JoinReport, join_reports
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.evaluated_recipe import EvaluatedRecipe
    from composer.document.store import open_document
    from composer.head.outputs import may_write
    from composer.picture.png import write_png
    from composer.picture.render import Studio
    from composer.picture.sheet import Entry, contact_sheet
    from composer.picture.views import view_named

    project = open_document(document)
    sources = (document, project.head_path)
    seen = view_named(view, project.views)
    if to is not None:
        may_write(to, ".png", sources)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", sources)
    recipes = recipes_of(project, recipe)
    reports: list[JoinReport] = []
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        for report in join_reports(evaluated, recipes):
            reports.append(report)
            progress(len(reports) / len(recipes), f"joined {report.recipe}")
        if to is not None and recipes:
            entries = []
            for each, one in zip(recipes, reports, strict=True):
                straight = EvaluatedRecipe.of(evaluated, each.with_(join="linear")).pose
                smooth = evaluated.seamless(each)[0]
                entries.append(Entry(f"{each.name}, linear", straight, f"strain beyond: {one.linear.p95:.0f} %"))
                entries.append(Entry(f"{each.name}, seamless", smooth, f"strain beyond: {one.seamless.p95:.0f} %"))
            sheet = contact_sheet(
                Studio.of(evaluated.head), entries, title=f"Joins of {document.stem}", view=seen,
                columns=2 if len(recipes) < 3 else 4, cell_width=420, progress=progress,
            )  # fmt: skip
            write_png(to, sheet.image)
    if json_file is not None:
        write_json(json_file, [report.as_dict() for report in reports])
    if json_file != "-":
        if not recipes:
            console.say(NO_RECIPES)
        for report in reports:
            for line in report.words():
                console.say(line)
