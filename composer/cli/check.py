"""`moue check`: every check on every recipe."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli.sources import DOCUMENT, NO_RECIPES, Only, recipes_of


def check(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    recipe: Only = None,
    report: Annotated[Path | None, typer.Option(help="Write a page, .html, with pictures here.")] = None,
    json_file: Annotated[str | None, typer.Option("--json", help="Write the findings here, - for the screen.")] = None,
) -> None:
    """Look for what is wrong with the recipes; exit code 1 where a finding is an error.

    Example: moue check document.toml --report report.html
    """
    from composer.checks.of_document import check_recipes
    from composer.cli.outputs import may_write
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.ready import Ready
    from composer.document.store import open_document
    from composer.head.atomic import write_whole
    from composer.picture.render import Studio
    from composer.picture.report import Checked, html_report

    project = open_document(document)
    sources = (document, project.head_path)
    if report is not None:
        may_write(report, ".html", sources)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", sources)
    recipes = recipes_of(project, recipe)
    checked: list[Checked] = []
    with bar("opening") as progress:
        ready = Ready.open(project, progress)
        for each, pose, findings in check_recipes(ready, recipes):
            checked.append(Checked(each.name, pose, findings))
            progress(len(checked) / len(recipes), f"checked {each.name}")
        if report is not None:
            page = html_report(Studio.of(ready.head), checked, title=f"Checks of {document.stem}", progress=progress)
            write_whole(report, lambda file: file.write(page.encode()))
    if json_file is not None:
        write_json(json_file, {one.name: [f.as_dict() for f in one.findings] for one in checked})
    if json_file != "-":
        if not recipes:
            typer.echo(NO_RECIPES)
        for one in checked:
            typer.echo(f"{one.name}: " + (f"{len(one.findings)} findings" if one.findings else "nothing found"))
            for f in one.findings:
                typer.echo(f"  {f.severity} {f.code}: {f.words}" + (f"; {f.mend}" if f.mend else ""))
    if any(f.severity == "error" for one in checked for f in one.findings):
        raise typer.Exit(1)
