"""Every word of a command goes to the terminal through one function, in which nothing steers the terminal."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from composer.cli.console import be_quiet, note, say
from composer.errors import visible

CLI = Path(__file__).resolve().parents[3] / "composer" / "cli"


def test_no_command_prints_past_it() -> None:
    """Pages of help and tables are rich's own; their cells are made visible where they are filled."""
    for path in CLI.glob("*.py"):
        if path.name != "console.py":
            text = path.read_text(encoding="utf-8")
            assert not re.search(r"(?<![.\w])print\(|\becho\(|\bsecho\(", text), path.name
            written = re.findall(r"std(?:out|err)\.write\(.*", text)
            assert all("__version__" in line or "shorten(visible(words)" in line for line in written), path.name


@pytest.mark.parametrize(("text", "shown"), [
    ("grin", "grin"), ("L\u00e4cheln \u7b11", "L\u00e4cheln \u7b11"), ("a\x1b[2J", "a\\u001b[2J"),
    ("\x9b2J", "\\u009b2J"),
    ("a\rb", "a\\u000db"), ("\u202egnp", "\\u202egnp"), ("\udc80", "\\udc80"), ("\U000e0041", "\\udb40\\udc41"),
    ("one\ntwo\tthree", "one\ntwo\tthree"), ("\x00\x07\x7f", "\\u0000\\u0007\\u007f"),
])  # fmt: skip
def test_what_steers_a_terminal_is_written_out(text: str, shown: str, capfd: pytest.CaptureFixture[str]) -> None:
    """The form is JSON's: RFC 8259, section 7, "Strings" (a sign beyond the basic plane is two halves)."""
    be_quiet(False)
    say(text)
    note(text)
    said = capfd.readouterr()
    assert (said.out, said.err) == (shown + "\n", f"note: {shown}\n")
    assert visible(visible(text)) == visible(text)
