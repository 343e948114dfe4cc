"""`moue demo`: the demo head keeper in the window, or Moue's whole work on it in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console


def demo(
    chain: Annotated[
        bool,
        typer.Option("--chain", help="Fit keeper's library onto the sculpt ferrier, carry, mix and bake at level 3."),
    ] = False,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write the demo here instead of opening the window.")
    ] = None,
) -> None:
    """Open the demo in the window, or write it to a folder.

    With --to the demo is divided, mixed, baked, checked and pictured in that folder. Without --to it opens in the
    window, or without a screen is written to ./moue-demo. With --chain it does the whole job, from keeper's library and
    ferrier's sculpt to ferrier's own baked targets.

    Example: moue demo --to moue-demo

    Example: moue demo --chain --to moue-chain
    """
    from composer.errors import MoueError
    from composer.viewer.app import run_window, screen_there

    if chain and to is None:
        raise MoueError("--chain needs a folder", hint="add --to DIR")
    if to is None and screen_there():
        run_window(demo=True)
        return
    from composer.cli.progress import bar
    from composer.demo.chain import chain as whole_chain
    from composer.demo.tour import tour

    with bar("the demo") as progress:
        lines = whole_chain(to, progress) if chain and to is not None else tour(to or Path("moue-demo"), progress)
    for line in lines:
        console.say(line)
