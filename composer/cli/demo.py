"""`moue demo`: the head keeper, made from nothing, and what Moue does with it, in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console


def demo(
    chain: Annotated[
        bool, typer.Option("--chain", help="Bring the library onto the sculpt ferrier, carry, mix and bake at level 3.")
    ] = False,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write it all here instead of opening the window.")
    ] = None,
) -> None:
    """Open the demo in the window, or write it to a folder.

    With --to it is divided, mixed, baked, checked and pictured there. Without --to it opens in the window, or where
    there is no screen is written to ./moue-demo. With --chain it goes the whole way, from keeper's library and
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
