"""The output of commands: results to standard output, notes to standard error, neither with `--quiet`.

Control characters except line ends and tabs are made visible: names come from files, and a name could otherwise clear
the screen or overwrite earlier lines. Colour and bold are for terminals only, and not where NO_COLOR is set
(https://no-color.org).
"""

from __future__ import annotations

import os
import shutil
import sys
from textwrap import wrap
from typing import TextIO

from composer.errors import visible

WIDEST = 100
"""Most columns of a line: longer lines are hard to read (common practice, no source)."""
HANG = 2
"""Columns by which the further lines of a note are indented (our choice)."""
_state = {"quiet": False}


def be_quiet(quiet: bool = True) -> None:
    """Print errors only from now on; with `quiet` False, print everything again."""
    _state["quiet"] = quiet


def is_quiet() -> bool:
    """Whether only errors are printed."""
    return _state["quiet"]


def say(line: str, hang: int | None = None) -> None:
    """Print a line of the result to standard output.

    With `hang`, a line that is too long for the terminal continues on further lines, indented by that many columns.
    In a pipe or a file it stays one line.
    """
    if not is_quiet():
        sys.stdout.write(_laid(line, sys.stdout, hang) + "\n")


def columns() -> int:
    """The width of the output in columns: the terminal's, COLUMNS, or 80; from 40 to WIDEST."""
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


def note(words: str) -> None:
    """Print a note about the work to standard error."""
    warn(f"note: {words}")


def warn(line: str) -> None:
    """Print a line that is not a result to standard error."""
    if not is_quiet():
        sys.stdout.flush()
        sys.stderr.write(_laid(line, sys.stderr, HANG) + "\n")


def _laid(line: str, stream: TextIO, hang: int | None) -> str:
    """The line for the stream: without control characters, and on a terminal wrapped where `hang` allows it."""
    shown = visible(line, keep="\n\t")
    if hang is None or not stream.isatty():
        return shown
    return "\n".join(wrap(shown, columns(), subsequent_indent=" " * hang, break_on_hyphens=False))


def styled(stream: TextIO) -> bool:
    """Whether to print bold and colour: on a terminal that is not dumb, without NO_COLOR."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def counted(number: int, noun: str, many: str | None = None) -> str:
    """A number with its noun in the singular or plural.

    >>> counted(1, "finding"), counted(1204, "vertex", "vertices")
    ('1 finding', '1,204 vertices')
    """
    return f"{number:,} {noun if number == 1 else many or noun + 's'}"
