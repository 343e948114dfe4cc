"""A job run, on this machine or on the workers of a cluster; a fault ends its own head alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from composer.document.inspection import inspect_folder
from composer.document.mend import write_mended
from composer.jobs.content import written
from composer.jobs.estimate import Estimate
from composer.jobs.job import RECORD, Job
from composer.jobs.local import LocalRun
from composer.jobs.plan import Planned, library_content, mend_is_done, note_mended, planned, size_of
from composer.jobs.record import read_record
from composer.jobs.result import HeadResult
from composer.jobs.steps import Shared
from composer.progress import Progress


def run_job(
    job: Job, workers: int = 1, progress: Progress | None = None, told: Callable[[HeadResult], None] | None = None,
    cluster: str | None = None,
) -> list[HeadResult]:  # fmt: skip
    """Run a job; what became of every head, in the job's order. `told` is called with each as soon as it is done.
    `cluster` is the address of a scheduler, on whose workers the heads are then taken; None: on this machine.

    The files are the same for any number of `workers`, on one machine and on many of its kind, and after any
    interruption. Raises MoueError where the library cannot be opened, and where no scheduler or no worker answers; a
    fault in one head is in its result.
    """
    say = progress or (lambda fraction, words: None)
    say(0.0, "looking at the library")
    library = library_content(job)
    if "mend" in job.steps and not mend_is_done(job, library):
        _mend(job, library, say)
    rows = planned(job, library, say)
    results = {row.head.name: _unchanged(row) for row in rows if not row.to_do and row.fault is None}
    for result in results.values():
        if told is not None:
            told(result)
    to_do = [row for row in rows if row.head.name not in results]
    if to_do:
        for result in _results(job, library, to_do, workers, say, cluster):
            results[result.name] = result
            if told is not None:
                told(result)
    return [results[head.name] for head in job.heads]


def _results(
    job: Job, library: str, to_do: Sequence[Planned], workers: int, say: Progress, cluster: str | None
) -> Iterator[HeadResult]:
    if cluster is not None:
        from composer.jobs.cluster import ClusterRun

        return ClusterRun(job, library, cluster, say, to_do).results()
    say(0.0, "opening the library")
    shared = Shared(job)
    return LocalRun(shared, library, Estimate(size_of(shared)), workers, say, to_do).results()


def _mend(job: Job, library: str, say: Progress) -> None:
    inspection = inspect_folder(job.library, job.neutral, job.unit, say)
    if job.mended.is_dir():
        _remove_mended(job)
    write_mended(inspection, job.mended, say)
    note_mended(job, library, written(job.mended, (job.mended,)))


def _remove_mended(job: Job) -> None:
    """Take an earlier mended copy away, where nobody has changed it; `write_mended` refuses what is left."""
    done = read_record(job.mended).get("mend")
    if done is not None and done.still_there(job.mended):
        for name in (*done.files, RECORD):
            (job.mended / name).unlink()


def _unchanged(row: Planned) -> HeadResult:
    record = read_record(row.head.folder)
    return HeadResult(row.head.name, row.states, {step: tuple(record[step].found) for step in row.states})
