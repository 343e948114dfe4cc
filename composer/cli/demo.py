"""`moue demo`: the head keeper, made from nothing, and what Moue does with it, in a folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    chain: Annotated[
        bool, typer.Option("--chain", help="Bring the library onto the sculpt ferrier, carry, mix and bake at level 3.")
    ] = False,
    to: Annotated[Path | None, typer.Option(help="Write it all here instead of opening the window.")] = None,
) -> None:
    """The demo: in the window; or divided, mixed, baked, checked and pictured in a folder.

    Without --to it opens the window where there is a screen, and writes ./moue-demo where there is none.

    With --chain the whole way from keeper's library and ferrier's sculpt to ferrier's own baked targets.

    Example: moue demo --to moue-demo
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
        typer.echo(line)
