"""What is done for one head: by step, from what it was made, the files that it wrote, and what was found.

The record lies in the head's folder. It says nothing of time, so that an interrupted run ends with the same bytes as an
undisturbed one.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from composer.errors import MoueError
from composer.head.atomic import write_whole
from composer.head.reading import DAMAGE, bytes_of
from composer.jobs.content import written
from composer.jobs.job import RECORD

MOST_BYTES = 64 << 20
"""The largest record in bytes; a safety limit."""


@dataclass(frozen=True)
class Found:
    """One thing that a step found: how grave it is (error, warning or note), the name of what has it, in words, and
    what to do about it."""

    severity: str
    name: str
    words: str
    hint: str = ""


@dataclass(frozen=True)
class Done:
    """A step that is done: `made_from` is the hash of all that it was made from, `files` are those that it wrote, by
    name from the head's folder, with their hashes; `found` are its findings, worst first."""

    made_from: str
    files: Mapping[str, str]
    found: Sequence[Found] = ()

    @property
    def errors(self) -> int:
        """How many findings are errors."""
        return sum(each.severity == "error" for each in self.found)

    def holds(self, made_from: str, folder: Path) -> bool:
        """Whether it was made from just this, and is still there."""
        return self.made_from == made_from and self.still_there(folder)

    def still_there(self, folder: Path) -> bool:
        """Whether every file that it wrote is there, unchanged."""
        places = tuple(folder / name for name in self.files)
        return all(place.is_file() for place in places) and written(folder, places) == self.files


def read_record(folder: Path) -> dict[str, Done]:
    """What the record in a head's folder says, by step; nothing where there is none, or where it is damaged."""
    path = folder / RECORD
    if not path.is_file():
        return {}
    try:
        table = json.loads(bytes_of(path, MOST_BYTES, "a record"))
        return {step: _done(row) for step, row in table["steps"].items()}
    except (MoueError, *DAMAGE):
        return {}


def write_record(folder: Path, done: Mapping[str, Done]) -> None:
    """Write the record of a head, whole or not at all. Raises MoueError where it cannot be written."""
    table = {"moue_job": 1, "steps": {step: asdict(each) for step, each in done.items()}}
    text = json.dumps(table, indent=1, sort_keys=True) + "\n"
    write_whole(folder / RECORD, lambda file: file.write(text.encode()))


def _done(row: Any) -> Done:
    files = {str(name): str(value) for name, value in row["files"].items()}
    return Done(str(row["made_from"]), files, tuple(Found(**{k: str(v) for k, v in each.items()})
                                                     for each in row["found"]))  # fmt: skip
