"""A report as JSON, to a file or to standard output."""

from __future__ import annotations

import sys
from pathlib import Path

from composer.head.atomic import write_whole
from composer.jobs.json_text import json_text


def write_json(where: str, report: object) -> None:
    """Write `report` to the file `where`, or to standard output for "-", in UTF-8.

    Control characters in names become JSON escapes, so that a reader gets the same name.
    """
    text = json_text(report)
    if where == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode())
        sys.stdout.buffer.flush()
    else:
        write_whole(Path(where), lambda file: file.write(text.encode()))
