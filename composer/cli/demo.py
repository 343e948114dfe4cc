"""`moue demo`: the head keeper, made from nothing, and what Moue does with it, in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    to: Annotated[Path, typer.Option(help="The folder to write to.")] = Path("moue-demo"),
) -> None:
    """Make the demo's library, divide and mix it, bake, check and picture it.

    Example: moue demo --to moue-demo
    """
    from composer.cli.progress import bar
    from composer.demo.tour import tour

    with bar("the demo") as progress:
        lines = tour(to, progress)
    for line in lines:
        typer.echo(line)
