"""What a command says on a terminal: every word goes through here, and none of them steers the terminal."""

from __future__ import annotations

import typer

from composer.errors import visible


def say(words: object = "", err: bool = False, nl: bool = True) -> None:
    """Print `words` to standard output, or with `err` to standard error, control characters written out.

    Ends of lines and tabs stay: they lay a text out. Names come from files, and a name could otherwise clear the screen
    or write over what was said before.
    """
    typer.echo(visible(str(words), keep="\n\t"), err=err, nl=nl)
