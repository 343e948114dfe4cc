"""`moue run`: a job of many heads, unattended."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from composer.cli import console
from composer.cli.sources import Json
from composer.jobs.one_thread import ONE_THREAD


def run(
    job: Annotated[Path, typer.Argument(help="A job, .toml: a library, heads, steps.")],
    workers: Annotated[
        int | None, typer.Option(metavar="N", min=1, max=1024, help="Heads at once, as far as memory allows.")
    ] = None,
    plan: Annotated[bool, typer.Option("--plan", help="Say what would be done, and do nothing.")] = False,
    json_file: Json = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Take heads on the workers of this dask.distributed scheduler."),
    ] = None,
) -> None:
    """Take many heads through fit, carry, check, bake and sheet.

    What is done already, from the same files and settings, is left as it is: after an interruption the same command
    goes on. A head that fails does not stop the others. A page beside the heads has a picture and the worst findings of
    each.

    Exit code 1 where a head failed, or was stopped by what was found; 2 where the job itself is wrong.

    Example: moue run tide_clock.toml --workers 4

    Example: moue run tide_clock.toml --cluster tcp://10.0.0.5:8786
    """
    if cluster is not None and workers is not None:
        raise typer.BadParameter("--workers is for this machine; with --cluster the scheduler's workers are used")
    workers = workers or 1
    os.environ.update(ONE_THREAD)
    from composer.cli.progress import bar
    from composer.cli.report import write_json
    from composer.head.atomic import write_whole
    from composer.head.folders import make_folder
    from composer.head.outputs import may_write
    from composer.jobs.estimate import Estimate
    from composer.jobs.job_file import read_job
    from composer.jobs.page import job_page
    from composer.jobs.plan import library_content, planned, size_of
    from composer.jobs.run_job import run_job
    from composer.jobs.steps import Shared
    from composer.jobs.words import as_json, head_line, plan_json, plan_lines, sum_line

    read = read_job(job)
    if json_file not in (None, "-"):
        may_write(Path(str(json_file)), ".json", (job, read.library))
    if plan:
        with bar("looking", thread=False) as progress:
            rows = planned(read, library_content(read), progress)
            estimate = Estimate(size_of(Shared(read)))
        if json_file is not None:
            write_json(json_file, plan_json(rows))
        if json_file != "-":
            for line in plan_lines(rows, estimate, workers):
                console.say(line)
        return
    make_folder(read.together)
    may_write(read.page, ".html")
    with bar("opening", thread=False) as progress:
        results = run_job(read, workers, progress, lambda result: _tell(head_line(result), json_file), cluster)
    page = job_page(read, results)
    write_whole(read.page, lambda file: file.write(page.encode()))
    if json_file is not None:
        write_json(json_file, as_json(results))
    _tell(f"{sum_line(results)}; {read.page}", json_file)
    if any(result.kind in ("failed", "stopped by findings") for result in results):
        raise typer.Exit(1)


def _tell(line: str, json_file: str | None) -> None:
    if json_file != "-":
        console.say(line, hang=4)
