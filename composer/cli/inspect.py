"""`moue inspect`: what a library holds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli.sources import LIBRARY, Neutral, SkipBroken, Unit


def inspect(
    path: Annotated[Path, typer.Argument(help=LIBRARY)],
    neutral: Neutral = None,
    unit: Unit = None,
    skip_broken: SkipBroken = False,
    json_file: Annotated[str | None, typer.Option("--json", help="Write the report here, - for the screen.")] = None,
) -> None:
    """Say what a library holds: counts, unit, neutral, and how far each shape moves.

    Example: moue inspect keeper --json report.json
    """
    from composer.cli.outputs import may_write
    from composer.cli.progress import bar
    from composer.formats.library import open_library
    from composer.head.fingerprint import fingerprint

    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", (path,))
    with bar("opening") as progress:
        head = open_library(path, neutral, unit, skip_broken, progress)
    moves = {shape.name: shape.furthest_mm for shape in head.shapes}
    report = {
        "head": head.name, "vertices": head.n_vertices, "polygons": head.polygons.n_faces, "unit": head.unit,
        "diagonal_mm": head.diagonal, "neutral": head.neutral_name, "topology": fingerprint(head.polygons),
        "groups": list(head.groups), "parts": {part.name: part.follows for part in head.parts},
        "furthest_mm": moves, "notes": list(head.notes),
    }  # fmt: skip
    if json_file is not None:
        from composer.cli.report import write_json

        write_json(json_file, report)
        if json_file == "-":
            return
    typer.echo(
        f"{head.name}: {head.n_vertices} vertices, {head.polygons.n_faces} polygons, {head.diagonal:.1f} mm across"
    )
    typer.echo(f"neutral: {head.neutral_name}; unit of the files: {head.unit}; {len(moves)} shapes")
    if head.parts:
        typer.echo("parts: " + ", ".join(f"{part.name} ({part.follows})" for part in head.parts))
    for name, most in moves.items():
        typer.echo(f"  {name}: " + (f"moves up to {most:.2f} mm" if most else "does not move"))
    for note in head.notes:
        typer.echo(f"note: {note}")
