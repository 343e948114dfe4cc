"""`moue accept`: a sculpted fix becomes a corrective of its recipe, or a new shape; a corrective is removed again."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.alone import alone_on
from composer.cli.sources import DOCUMENT, UNITS, Json


@alone_on("document")
def accept(
    document: Annotated[Path, typer.Argument(help=DOCUMENT)],
    sculpt: Annotated[
        Path | None,
        typer.Argument(metavar="[SCULPT]", help="The baked file after sculpting, at any level, in any format."),
    ] = None,
    recipe: Annotated[str | None, typer.Option(metavar="NAME", help="The recipe that was baked.")] = None,
    as_shape: Annotated[
        str | None, typer.Option(metavar="NAME", help="Keep the fix as a shape of this name instead.")
    ] = None,
    shape: Annotated[
        str | None, typer.Option(metavar="NAME", help="Put the sculpt in the place of this shape, as a retouch of it.")
    ] = None,
    level: Annotated[
        int | None, typer.Option(metavar="N", help="The sculpt's level, where its vertex count does not tell it.")
    ] = None,
    order_of: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The neutral whose vertex order the bake was given with --order-of."),
    ] = None,
    unit: Annotated[str | None, typer.Option(metavar="UNIT", help=f"The sculpt's unit: {UNITS}.")] = None,
    remove: Annotated[
        str | None, typer.Option(metavar="NAME", help="Take out this corrective, or this retouch of a shape.")
    ] = None,
    json_file: Json = None,
) -> None:
    """Turn a sculpted fix of a bake into a corrective.

    The corrective acts wherever the recipe's cells do. The unchanged bake is kept beside it. With --remove and without
    a sculpt, a corrective is removed from the document.

    With --shape the sculpt is a target of the library retouched: it takes that shape's place in the document, and what
    rests on the old one is told. The library's files stay as they are.

    Example: moue accept clock.moue baked/doubt.obj --recipe doubt

    Example: moue accept clock.moue baked/doubt.obj --recipe doubt --order-of sample.obj

    Example: moue accept clock.moue smile_retouched.obj --shape smile

    Example: moue accept clock.moue --remove doubt_fix
    """
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.hinges import settled
    from composer.document.store import open_document, save_document
    from composer.edits.accept import accept as run
    from composer.edits.accept import save_accepted, told
    from composer.edits.correctives import delete_corrective
    from composer.edits.retouch import retouch
    from composer.edits.sculpt import read_sculpt
    from composer.edits.sculpt_over_sample import read_sculpt_over
    from composer.edits.shapes import delete_kept_shape
    from composer.errors import MoueError
    from composer.head.outputs import may_write

    project = open_document(document)
    if remove is not None:
        if sculpt is not None or recipe is not None or as_shape is not None or shape is not None:
            raise MoueError("--remove takes a corrective out, and no sculpt in", hint="do one after the other")
        if project.shapes.get(remove, {}).get("replaces"):
            save_document(delete_kept_shape(project, remove), document)
            console.say(f"{document}: the shape {remove!r} is the library's own again.")
            return
        save_document(delete_corrective(project, remove), document)
        console.say(f"{document}: the corrective {remove!r} is removed; its shape stays.")
        return
    if sculpt is None or (recipe is None) == (shape is None) or (shape is not None and as_shape is not None):
        hint = "or --remove and the name of a corrective"
        raise MoueError("a sculpt and its --recipe are needed, or the --shape that it retouches", hint=hint)
    if order_of is not None and (recipe is None or level is not None):
        raise MoueError("--order-of tells the level of a recipe's bake", hint="leave --shape and --level out")
    if recipe is not None:
        project.recipe(recipe)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", (document, sculpt, order_of, project.head_path))
    with bar("opening") as progress:
        evaluated = EvaluatedDocument.open(project, progress)
        kept, rigidities, notes = settled(project, evaluated.head, evaluated.hinges)
        if kept is not project:
            evaluated = evaluated.again(kept.with_(stored={**kept.stored, **rigidities}))
        progress(0.4, f"reading {sculpt.name}")
        if order_of is not None and recipe is not None:
            read = read_sculpt_over(evaluated, recipe, sculpt, order_of, unit)
        else:
            read = read_sculpt(evaluated.head, sculpt, level, unit, recipe or shape)
        if recipe is not None:
            accepted = run(evaluated, recipe, read, as_shape, unit)
        else:
            accepted = retouch(evaluated, str(shape), read, unit)
        progress(0.9, f"saving {document.name}")
        files = save_accepted(accepted, document)
    for note in [*evaluated.notes, *notes]:
        console.note(note)
    if json_file is not None:
        write_json(json_file, {
            "shape": accepted.shape, "recipe": accepted.recipe, "corrective": accepted.corrective,
            "retouched": accepted.retouched, "resting": list(accepted.resting),
            "level": accepted.sculpt.level, "left_mm": accepted.left_mm, "moved": [asdict(r) for r in accepted.moved],
            "files": [str(file) for file in files],
        })  # fmt: skip
    if json_file != "-":
        for line in [*told(accepted), *map(str, files)]:
            console.say(line)
