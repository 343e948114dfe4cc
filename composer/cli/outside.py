"""`--allow-outside`: an option of every command that opens a document or a library."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Annotated, Any

import typer

NAME = "allow_outside"
OPTION = Annotated[
    bool, typer.Option("--allow-outside", help="Let the files refer to others outside their own folder.")
]


def with_allow_outside(command: Callable[..., None]) -> Callable[..., None]:
    """The command with the option `--allow-outside`, under which files may refer to anything
    (`composer.head.references`).
    """

    @functools.wraps(command)
    def run(*given: Any, **named: Any) -> None:
        from composer.head.references import outside_allowed

        with outside_allowed(named.pop(NAME)):
            command(*given, **named)

    signature = inspect.signature(command, eval_str=True)
    option = inspect.Parameter(NAME, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=OPTION)
    run.__signature__ = signature.replace(parameters=[*signature.parameters.values(), option])  # type: ignore[attr-defined]
    run.__annotations__ = {**command.__annotations__, NAME: OPTION}
    return run
