"""`moue open`, and `moue` by itself: the window."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from composer.cli.sources import LIBRARY


def open_(
    path: Annotated[Path, typer.Argument(help=f"A document. Or: {LIBRARY}")],
) -> None:
    """Open a library or a document in the window.

    Example: moue open moue-demo/document.toml
    """
    from composer.errors import MoueError
    from composer.viewer.app import run_window

    if not path.exists():
        raise MoueError("is not there", path)
    run_window(path)
