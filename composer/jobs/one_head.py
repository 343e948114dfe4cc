"""One head taken through its steps: what is done already, from the same contents, is left as it is."""

from __future__ import annotations

import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path

from composer import __version__
from composer.errors import MoueError
from composer.fitting.fitted_files import levels_beside
from composer.head.atomic import write_whole
from composer.head.folders import make_folder
from composer.head.lock import is_locked, lock, unlock
from composer.jobs.content import content, joined, written
from composer.jobs.job import Job, JobHead
from composer.jobs.job_file import missing_file
from composer.jobs.record import Done, Found, read_record, write_record
from composer.jobs.result import HeadResult, State
from composer.jobs.settings import FILES
from composer.jobs.steps import BY_NAME, Shared, Work

FAULT = "fault.txt"
"""Where a fault of Moue itself is written down, in the head's folder."""
JUDGED = ("fit", "check")
"""Steps whose errors end a head that is to stop at findings: those for which their commands end with exit code 1."""
LOOKS = 0.2
"""Seconds between two looks at a lock that is waited for (our choice)."""
Tell = Callable[[str, float], None]
"""Called with the step that is under way and how far it is, 0 to 1."""


def made_from(job: Job, head: JobHead, step: str, library: str, record: dict[str, Done]) -> str:
    """The hash of all that a step of a head is made from; `library` is that of the library's content.

    Raises MoueError for a file that is not there.
    """
    fault = missing_file(head)
    if fault is not None:
        raise fault
    files_of_step = {key: value for named, key in FILES if named == step and (value := head.setting(step, key))}
    settings = {key: value for key, value in head.settings.get(step, {}).items() if key not in files_of_step}
    parts: dict[str, object] = {"moue": __version__, "step": step, "settings": settings}
    parts |= {key: content(Path(str(value))) for key, value in files_of_step.items()}
    if step == "fit":
        files = {"sculpt": head.sculpt, "landmarks": head.landmarks}
        parts |= {key: None if file is None else content(file) for key, file in files.items()}
        parts["like"] = [content(each) for each in head.like]
    if step in ("fit", "carry"):
        parts["library"] = library
    if step == "carry" and head.fitted is not None:
        parts["fitted"] = [content(each) for each in (head.fitted, *levels_beside(head.fitted))]
    before = BY_NAME[step].after
    if before is not None and before in record:
        parts["before"] = dict(record[before].files)
    return joined(parts)


def states(job: Job, head: JobHead, library: str) -> dict[str, State]:
    """By step whether it is to do or unchanged, without doing anything. Raises MoueError for what is not there."""
    record, found, again = read_record(head.folder), dict[str, State](), set[str]()
    for step in job.steps_of(head):
        done = record.get(step)
        same = (
            BY_NAME[step].after not in again
            and done is not None
            and done.holds(made_from(job, head, step, library, record), head.folder)
        )
        if not same:
            again.add(step)
        found[step] = "unchanged" if same else "to do"
    return found


def run_head(shared: Shared, head: JobHead, library: str, tell: Tell, patience: float = 0.0) -> HeadResult:
    """Take one head through its steps. A fault ends this head alone, and the result says which and why; another
    run at work on the same head for `patience` seconds more is one."""
    steps = shared.job.steps_of(head)
    try:
        make_folder(head.folder)
    except MoueError as error:
        return HeadResult(head.name, _only(steps, "failed"), {}, steps[0], str(error))
    held = _held(head.folder, patience)
    try:
        if held is None and is_locked(head.folder):
            why = "another run is at work on it; let that end, or stop it"
            return HeadResult(head.name, _only(steps, "failed"), {}, steps[0], why)
        return _run(shared, head, library, steps, tell)
    finally:
        unlock(held)


def _held(folder: Path, patience: float) -> int | None:
    """The lock of a head's folder; None where another keeps it."""
    until = time.monotonic() + patience
    while (held := lock(folder)) is None and is_locked(folder) and time.monotonic() < until:
        time.sleep(LOOKS)
    return held


def _only(steps: Sequence[str], first: State) -> dict[str, State]:
    return {step: first if step == steps[0] else "left out" for step in steps}


def _run(shared: Shared, head: JobHead, library: str, steps: Sequence[str], tell: Tell) -> HeadResult:
    job, folder = shared.job, head.folder
    became: dict[str, State] = dict.fromkeys(steps, "left out")
    found: dict[str, tuple[Found, ...]] = {}
    seconds: dict[str, float] = {}
    record, work = read_record(folder), Work(shared, head)
    for step in steps:
        begun = time.monotonic()
        try:
            key = made_from(job, head, step, library, record)
            done = record.get(step)
            if done is not None and done.holds(key, folder):
                became[step], found[step] = "unchanged", tuple(done.found)
            else:
                tell(step, 0.0)
                record.pop(step, None)
                told = BY_NAME[step].run(work, lambda fraction, words, step=step: tell(step, fraction))  # type: ignore[misc]
                places = tuple(folder / name for name in BY_NAME[step].places if (folder / name).exists())
                done = record[step] = Done(key, written(folder, places), tuple(told))
                write_record(folder, record)
                became[step], found[step] = "done", tuple(told)
                seconds[step] = time.monotonic() - begun
        except BrokenPipeError:  # whoever asked for this head is gone
            raise
        except Exception as error:  # whatever it is, the other heads go on
            became[step] = "failed"
            return HeadResult(head.name, became, found, step, _why(error, folder), seconds=seconds)
        if step in JUDGED and done.errors and head.on_finding == "stop this head" and step != steps[-1]:
            return HeadResult(head.name, became, found, step, stopped=True, seconds=seconds)
    return HeadResult(head.name, became, found, seconds=seconds)


def _why(error: Exception, folder: Path) -> str:
    if isinstance(error, MoueError):
        return str(error)
    if isinstance(error, MemoryError):
        return "there is not enough memory for it; use fewer --workers, or a lower level"
    text = "".join(traceback.format_exception(error))
    try:
        write_whole(folder / FAULT, lambda file: file.write(text.encode()))
        where = f"; {folder / FAULT} says where"
    except MoueError:
        where = ""
    return f"a fault of Moue itself: {type(error).__name__}{where}"
