"""Reading a job, a TOML file; the README describes it in the section "Many heads"."""

from __future__ import annotations

import glob
import os
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

from composer.document.values import Values
from composer.errors import MoueError, nearest, shorten
from composer.head.file_names import check_name, same_file
from composer.head.reading import bytes_of, check_regular
from composer.head.toml_text import parse_toml
from composer.jobs.job import NAME, Job, JobHead, OnFinding, Setting
from composer.jobs.settings import FILES, KEYS, settings_of

VERSION = 1
MOST_BYTES, MOST_HEADS = 16 << 20, 100_000
"""Safety limits: bytes of the text, and heads."""
TOP = ("moue_job", "library", "unit", "neutral", "steps", "to", "defaults", "head")
ON_FINDING = ("go on", "stop this head")
HEAD = ("name", "sculpt", "fitted", "landmarks", "like", "on_finding", *KEYS)
DEFAULTS = ("like", "on_finding", *KEYS)
STEPS = tuple(KEYS)
"""Every step, in the order in which they run."""
FROM_CARRIED = ("check", "bake", "sheet", "clip")
"""Steps that work on the carried head."""


def read_job(path: Path | str) -> Job:
    """The job in a TOML file, checked: its places are there, its steps can follow each other, no two heads are one.

    Raises MoueError, naming the file and the table.
    """
    path = Path(path)
    try:
        table = parse_toml(bytes_of(path, MOST_BYTES, "a job").decode("utf-8"))
    except UnicodeDecodeError:
        raise MoueError("is not a text in UTF-8", path) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise MoueError(f"is no TOML: {error}", path) from None
    top = Values(table, path, "the job").only(TOP)
    if top.table.get("moue_job") != VERSION:
        raise MoueError("is no job that this Moue can read", path, hint=f"its first line is moue_job = {VERSION}")
    steps = _steps(top)
    library = _place(top, "library")
    if library is None:
        raise top.error("needs a library or a document", 'as library = "keeper"')
    if not library.exists():
        raise MoueError(f"its library is not there: {shorten(str(library), 60)}", path)
    to = top.text("to")
    if to is None or to.count(NAME) != 1:
        raise top.error(f"needs a place with {NAME} in it, once", f'as to = "heads/{NAME}"')
    if NAME not in Path(to).name:
        raise top.error(f"needs {NAME} in the last part of to", f'as to = "heads/{NAME}"')
    together = path.parent / Path(to).parent
    job = Job(path, library, steps, _heads(top, to, steps), together, top.text("unit"), top.text("neutral"))
    _check(job)
    return job


def _steps(top: Values) -> tuple[str, ...]:
    """The steps, in the order in which they run."""
    listed = top.table.get("steps")
    if not isinstance(listed, list) or not listed:
        raise top.error("needs a list of steps", f"of {', '.join(STEPS)}")
    for each in listed:
        if each not in STEPS:
            hint = nearest(each, STEPS) if isinstance(each, str) else ""
            raise top.error(f"has an unknown step {shorten(repr(each), 40)}", hint or f"steps are {', '.join(STEPS)}")
    for later in FROM_CARRIED:
        if later in listed and "carry" not in listed:
            raise top.error(f"has the step {later}, which works on a carried head", "add carry to the steps")
    return tuple(step for step in STEPS if step in listed)


def _heads(top: Values, to: str, steps: Sequence[str]) -> tuple[JobHead, ...]:
    defaults = top.table.get("defaults", {})
    if not isinstance(defaults, dict):
        raise top.error("needs defaults to be a table", "as [defaults]")
    common = Values(defaults, top.path, "defaults").only(DEFAULTS)
    rows = top.rows("head", "head")
    if not rows:
        raise top.error("names no head", "add one under [[head]]")
    if len(rows) > MOST_HEADS:
        raise top.error(f"names {len(rows):,} heads; {MOST_HEADS:,} are the most")
    heads: list[JobHead] = []
    seen: dict[str, int] = {}
    for number, row in enumerate(rows, 1):
        head = _head(row, common, to, steps)
        other = seen.setdefault(same_file(head.name), number)
        if other != number:
            raise row.error(f"has the name of head {other}: {shorten(repr(head.name), 40)}", "give it another")
        heads.append(head)
    return tuple(heads)


def _head(row: Values, common: Values, to: str, steps: Sequence[str]) -> JobHead:
    name = row.text("name")
    if name is None:
        raise row.error("needs a name")
    check_name(name, "head", row.path)
    row = Values(row.table, row.path, f"head {name!r}").only(HEAD)
    sculpt, fitted = _place(row, "sculpt"), _place(row, "fitted")
    if (sculpt is None) == (fitted is None):
        raise row.error("needs a sculpt, or a mesh that is fitted", "give one of the two")
    if sculpt is not None and "fit" not in steps:
        raise row.error("has a sculpt, but the steps have no fit", "add fit to the steps, or name what is fitted")
    settings = {step: _settings(row, common, step) for step in KEYS}
    on_finding = row.text("on_finding") or common.text("on_finding") or ON_FINDING[0]
    if on_finding not in ON_FINDING:
        raise row.error(f"needs on_finding to be one of: {', '.join(ON_FINDING)}")
    like = _files(row if "like" in row.table else common)
    return JobHead(
        name, row.path.parent / to.replace(NAME, name), sculpt, fitted, _place(row, "landmarks"), like,
        cast(OnFinding, on_finding), settings,
    )  # fmt: skip


def _settings(row: Values, common: Values, step: str) -> dict[str, Setting]:
    """The settings of a step: the job's defaults, and over them the head's own."""
    joined: dict[str, Setting] = {}
    for values in (common, row):
        table = values.table.get(step, {})
        if not isinstance(table, dict):
            raise values.error(f"needs {step} to be a table", f"as {step} = {{ ... }}")
        joined |= settings_of(Values(table, values.path, f"{step} of {values.where}"), step)
    return {key: str(row.path.parent / str(value)) if (step, key) in FILES else value for key, value in joined.items()}


def _place(values: Values, key: str) -> Path | None:
    text = values.text(key)
    if text is not None and "\0" in text:
        raise values.error(f"names no file in {key}")
    return None if text is None else values.path.parent / text


def _files(values: Values) -> tuple[Path, ...]:
    """The files that the patterns in `like` name, each once, in the order of their names."""
    patterns: Any = values.table.get("like", [])
    if not isinstance(patterns, list) or not all(isinstance(each, str) and each for each in patterns):
        raise values.error("needs like to be a list of files", 'as like = ["earlier/*.obj"]')
    found: dict[Path, None] = {}
    for pattern in patterns:
        places = sorted(glob.glob(str(values.path.parent / pattern)))
        if not places:
            raise values.error(f"names earlier heads that are not there: {shorten(repr(pattern), 60)}")
        found |= dict.fromkeys(map(Path, places))
    return tuple(found)


def _check(job: Job) -> None:
    """Raises MoueError where a step has nothing to work on, or a head is made from what the job itself writes."""
    if not job.document:
        for step in ("bake", "clip"):
            if step in job.steps:
                raise MoueError(
                    f"has the step {step}, and its library holds no recipes", job.path,
                    hint="name a document as library, or leave that step out",
                )  # fmt: skip
    if job.document and "mend" in job.steps:
        raise MoueError("has the step mend, which mends a library, not a document", job.path, hint="leave it out")
    if "mend" in job.steps and not job.library.is_dir():
        raise MoueError("has the step mend, and its library is one file; only a folder is mended", job.path)
    own = [os.path.realpath(head.folder) for head in job.heads]
    for head in job.heads:
        for like in head.like:
            if any(_inside(like, folder) for folder in own):
                raise MoueError(
                    f"head {head.name!r} is made from what the job itself writes: {shorten(str(like), 60)}", job.path,
                    hint="copy that head to a folder of earlier heads",
                )  # fmt: skip


def _inside(path: Path, folder: str) -> bool:
    real = os.path.realpath(path)
    return real == folder or real.startswith(folder + os.sep)


def missing_file(head: JobHead) -> MoueError | None:
    """What a head is made from and is not there, so that only this head fails; None where all is."""
    named: Mapping[str, Path | None] = {
        "sculpt": head.sculpt, "fitted mesh": head.fitted, "landmarks": head.landmarks,
    } | {f"earlier head {i + 1}": each for i, each in enumerate(head.like)}  # fmt: skip
    for step, key in FILES:
        value = head.setting(step, key)
        if value is not None:
            named = {**named, f"{key} of {step}": Path(str(value))}
    for what, file in named.items():
        if file is None or (file.is_dir() and what not in ("sculpt", "landmarks")):
            continue
        try:
            check_regular(file)
        except MoueError as error:
            return MoueError(f"its {what} cannot be used: {error.what}", file, hint=error.hint)
    return None
