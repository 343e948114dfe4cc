"""`moue table`: recipes, clips, regions and masks as tables, out of a document and back into it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.alone import alone_on
from composer.cli.sources import DOCUMENT


@alone_on("document")
def table(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write the document's tables to this folder.")
    ] = None,
    take: Annotated[
        list[Path] | None, typer.Option(metavar="FILE", help="Take this .csv or .json back; may be repeated.")
    ] = None,
) -> None:
    """Write a document's tables as CSV and JSON, or take them back.

    A recipe is a row and a cell a column, so that a spreadsheet makes many recipes at once.

    Example: moue table document.toml --to tables
    """
    from composer.cli.progress import bar
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.step_words import step_words
    from composer.document.store import open_document, save_document
    from composer.document.tables_out import MANIFEST, write_tables
    from composer.edits.take_tables import take_table
    from composer.errors import MoueError
    from composer.head.new_folder import may_fill

    if to is None and not take:
        raise MoueError("nothing to do", document, hint="give --to FOLDER to write tables, or --take FILE to read one")
    project = open_document(document)
    if to is not None:
        may_fill(to, MANIFEST, "tables")
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        for file in take or ():
            changed = take_table(evaluated.project, file, evaluated)
            words = step_words(evaluated.project, changed) if changed != evaluated.project else "nothing changed"
            evaluated = evaluated.again(changed)
            console.say(f"{file}: {words}")
        if evaluated.project is not project:
            save_document(evaluated.project, document)
        files = [] if to is None else write_tables(evaluated, to, progress)
    for note in evaluated.notes:
        console.note(note)
    for each in files:
        console.say(str(each))
