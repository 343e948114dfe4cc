"""`moue open`, and `moue` by itself: the window."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def open_(
    path: Annotated[Path, typer.Argument(help="A document, or a library: a folder of targets, a .glb, .gltf or .npz.")],
) -> None:
    """Open a head or a document in the window.

    Example: moue open moue-demo/document.toml
    """
    from composer.errors import MoueError
    from composer.viewer.app import run_window

    if not path.exists():
        raise MoueError("is not there", path)
    run_window(path)
