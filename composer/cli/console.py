"""What a command says, and how: results to standard output, notes to standard error, neither when it is quiet.

Control characters are written out, but for ends of lines and tabs: names come from files, and a name could otherwise
clear the screen or write over what was said before. Colour and weight are for a terminal alone, and never where
NO_COLOR is set (https://no-color.org).
"""

from __future__ import annotations

import os
import sys
from typing import TextIO

from composer.errors import visible

_spoken = {"quiet": False}


def be_quiet(quiet: bool = True) -> None:
    """From now on say nothing but errors; or speak again."""
    _spoken["quiet"] = quiet


def is_quiet() -> bool:
    """Whether nothing but errors is said."""
    return _spoken["quiet"]


def say(line: str) -> None:
    """A line of the result, to standard output."""
    if not is_quiet():
        sys.stdout.write(visible(line, keep="\n\t") + "\n")


def note(words: str) -> None:
    """A sentence about the work that is no result, to standard error."""
    warn(f"note: {words}")


def warn(line: str) -> None:
    """A line that is no result, to standard error."""
    if not is_quiet():
        sys.stdout.flush()
        sys.stderr.write(visible(line, keep="\n\t") + "\n")


def styled(stream: TextIO) -> bool:
    """Whether bold and colour are welcome: a terminal that is not dumb, and no NO_COLOR."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def counted(number: int, noun: str, many: str | None = None) -> str:
    """A number and what it counts.

    >>> counted(1, "finding"), counted(1204, "vertex", "vertices")
    ('1 finding', '1,204 vertices')
    """
    return f"{number:,} {noun if number == 1 else many or noun + 's'}"
