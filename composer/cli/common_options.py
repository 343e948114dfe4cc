"""Options that are added to every command: `--quiet`, and `--allow-outside` to commands that open files."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from functools import wraps
from typing import Annotated, Any

import typer

from composer.cli.console import be_quiet

Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print errors only.")]
Outside = Annotated[
    bool, typer.Option("--allow-outside", help="Let files refer to other files outside their own folder.")
]


def with_quiet(command: Callable[..., None]) -> Callable[..., None]:
    """The command with the option `--quiet`."""

    def quietly() -> AbstractContextManager[None]:
        be_quiet()
        return nullcontext()

    return _with_option(command, "quiet", Quiet, quietly)


def with_allow_outside(command: Callable[..., None]) -> Callable[..., None]:
    """The command with the option `--allow-outside`, which lets files refer to any place
    (`composer.head.references`).
    """

    def allowed() -> AbstractContextManager[None]:
        from composer.head.references import outside_allowed

        return outside_allowed()

    return _with_option(command, "allow_outside", Outside, allowed)


def _with_option(
    command: Callable[..., None], name: str, option: Any, within: Callable[[], AbstractContextManager[None]]
) -> Callable[..., None]:
    """The command with one more flag; where it is given, the command runs inside the context that `within` returns.

    typer reads a command's options from its signature, so the flag is added there.
    """

    @wraps(command)
    def run(*words: Any, **options: Any) -> None:
        with within() if options.pop(name, False) else nullcontext():
            command(*words, **options)

    signature = inspect.signature(command, eval_str=True)
    flag = inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=option)
    parameters = [*signature.parameters.values(), flag]
    run.__signature__ = signature.replace(parameters=parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {each.name: each.annotation for each in parameters}
    return run
