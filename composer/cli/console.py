"""What a command says, and how: results to standard output, notes to standard error, neither when it is quiet.

Control characters are written out, but for ends of lines and tabs: names come from files, and a name could otherwise
clear the screen or write over what was said before. Colour and weight are for a terminal alone, and never where
NO_COLOR is set (https://no-color.org).
"""

from __future__ import annotations

import os
import shutil
import sys
from textwrap import wrap
from typing import TextIO

from composer.errors import visible

WIDEST = 100
"""Columns at most: longer lines are hard to read (common practice, no source)."""
HANG = 2
"""Columns that the further lines of a note stand in."""
_spoken = {"quiet": False}


def be_quiet(quiet: bool = True) -> None:
    """From now on say nothing but errors; or speak again."""
    _spoken["quiet"] = quiet


def is_quiet() -> bool:
    """Whether nothing but errors is said."""
    return _spoken["quiet"]


def say(line: str, hang: int | None = None) -> None:
    """A line of the result, to standard output.

    With `hang`, a sentence that is too long for a terminal goes on in lines of its own, that many columns in; in a pipe
    or a file it stays one line.
    """
    if not is_quiet():
        sys.stdout.write(_laid(line, sys.stdout, hang) + "\n")


def columns() -> int:
    """Columns to write in: the terminal's, or COLUMNS, or 80; never more than a person reads with ease."""
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


def note(words: str) -> None:
    """A sentence about the work that is no result, to standard error."""
    warn(f"note: {words}")


def warn(line: str) -> None:
    """A line that is no result, to standard error."""
    if not is_quiet():
        sys.stdout.flush()
        sys.stderr.write(_laid(line, sys.stderr, HANG) + "\n")


def _laid(line: str, stream: TextIO, hang: int | None) -> str:
    """The line as it is written: nothing in it steers a terminal, and on one it is wrapped where it may be."""
    shown = visible(line, keep="\n\t")
    if hang is None or not stream.isatty():
        return shown
    return "\n".join(wrap(shown, columns(), subsequent_indent=" " * hang, break_on_hyphens=False))


def styled(stream: TextIO) -> bool:
    """Whether bold and colour are welcome: a terminal that is not dumb, and no NO_COLOR."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def counted(number: int, noun: str, many: str | None = None) -> str:
    """A number and what it counts.

    >>> counted(1, "finding"), counted(1204, "vertex", "vertices")
    ('1 finding', '1,204 vertices')
    """
    return f"{number:,} {noun if number == 1 else many or noun + 's'}"
