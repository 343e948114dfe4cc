"""`moue demo`: the head keeper, made from nothing, and what Moue does with it, in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    to: Annotated[Path | None, typer.Option(help="Write it all here instead of opening the window.")] = None,
) -> None:
    """The demo: in the window; or divided, mixed, baked, checked and pictured in a folder.

    Without --to it opens the window where there is a screen, and writes ./moue-demo where there is none.

    Example: moue demo --to moue-demo
    """
    from composer.viewer.app import run_window, screen_there

    if to is None and screen_there():
        run_window(demo=True)
        return
    from composer.cli.progress import bar
    from composer.demo.tour import tour

    with bar("the demo") as progress:
        lines = tour(to or Path("moue-demo"), progress)
    for line in lines:
        typer.echo(line)
