"""Commands that write a document: only one at a time, the others wait and then read what it has written. What killed
ones left beside it is brought to its end first."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

from composer.cli import console


def alone_on(*names: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """A command that runs alone on the document that the first given of these parameters names."""

    def of(command: Callable[..., None]) -> Callable[..., None]:
        @wraps(command)
        def run(**said: Any) -> None:
            from composer.document.one_save import finish_saves
            from composer.head.leftovers import sweep_beside
            from composer.head.lock import alone_with

            document = next((Path(said[name]) for name in names if said.get(name) is not None), None)
            if document is None:
                return command(**said)
            with alone_with(document, lambda: console.note(f"{document}: another Moue writes it; waiting for its end")):
                if document.parent.is_dir():
                    finish_saves(document)
                    sweep_beside(document)
                return command(**said)

        return run

    return of
