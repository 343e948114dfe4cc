"""A head as it is sent to another machine, and what comes back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from composer.jobs.job import Job, JobHead
from composer.jobs.result import HeadResult

Files = Mapping[str, bytes]
"""What files hold, by their absolute place on the asker's machine."""


@dataclass(frozen=True)
class Errand:
    """One `head` of a `job`, whose other heads are left out. `library` is the hash of the library's content, `folder`
    the one that the job's relative places are from, `version` the asker's Moue.

    Whoever can read `token_text` in the file `token` shares the asker's storage. The head is stopped where the file is
    gone: the asker is.
    """

    job: Job
    head: JobHead
    library: str
    folder: str
    version: str
    token: str
    token_text: str


@dataclass(frozen=True)
class Parcel:
    """The files that one head is made from, for a machine that does not share the storage: its own, and, by name from
    its folder, the hashes of what lay there."""

    files: Files
    lay_there: Mapping[str, str]


@dataclass(frozen=True)
class Answer:
    """What became of a head. `result` is None where the machine needs the files first. `files` are those of the head's
    folder that are new or changed, by name, `gone` those that are no more; only from a machine that does not share the
    storage."""

    result: HeadResult | None
    files: Mapping[str, bytes] = field(default_factory=dict)
    gone: tuple[str, ...] = ()


@dataclass(frozen=True)
class Order:
    """What the process beside a worker is told: a head, and the folder to be in. With `patience` it waits so many
    seconds for another run that is at work on the same head."""

    job: Job
    head: JobHead
    library: str
    folder: Path
    patience: float
