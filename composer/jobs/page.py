"""One page of a job: every head with its picture, what became of its steps, and its worst findings.

The page lies beside the heads' folders and names their pictures and their pages of checks. No scripts, no outside
links. The same results give the same page.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from urllib.parse import quote

from composer.jobs.job import Job, JobHead
from composer.jobs.record import Found
from composer.jobs.result import HeadResult
from composer.jobs.steps import FACE, PAGE
from composer.jobs.words import counted, sum_line
from composer.picture.report import escape

MOST = 5
"""Findings that are told of each head, worst first (our choice)."""
ORDER = ("failed", "stopped by findings", "done", "unchanged")


def job_page(job: Job, results: Sequence[HeadResult]) -> str:
    """The page as text, to be written in UTF-8: heads that failed first, then by their worst findings."""
    heads = {head.name: head for head in job.heads}
    ordered = sorted(results, key=lambda result: (ORDER.index(_kind(result)), -_errors(result), result.name))
    cards = "\n".join(_card(job, heads[result.name], result) for result in ordered)
    return _PAGE.format(title=escape(job.path.stem), summary=escape(_summary(results)), cards=cards)


def _summary(results: Sequence[HeadResult]) -> str:
    errors = sum(map(_errors, results))
    return f"{sum_line([_same(result) for result in results])}. {counted(errors, 'error')} found."


def _same(result: HeadResult) -> HeadResult:
    """A head that was done before counts as done: the page says what there is, not when it was made."""
    return HeadResult(result.name, {step: "done" if state == "unchanged" else state
                                    for step, state in result.states.items()},
                      result.found, result.at, result.why, result.stopped)  # fmt: skip


def _kind(result: HeadResult) -> str:
    return _same(result).kind


def _errors(result: HeadResult) -> int:
    return sum(each.severity == "error" for found in result.found.values() for each in found)


def _card(job: Job, head: JobHead, result: HeadResult) -> str:
    same = _same(result)
    place = quote(os.path.relpath(head.folder, job.together).replace(os.sep, "/"))
    picture = f'<img alt="{escape(head.name)}" src="{place}/{FACE}">' if (head.folder / FACE).is_file() else ""
    steps = ", ".join(f"{step} {state}" for step, state in same.states.items())
    why = f"<p class=error>Failed at {escape(result.at)}: {escape(result.why)}</p>" if result.why is not None else ""
    why += f"<p class=error>Stopped by what {escape(result.at)} found.</p>" if result.stopped else ""
    link = f'<p><a href="{place}/{PAGE}">All checks, with pictures</a></p>' if (head.folder / PAGE).is_file() else ""
    return (
        f"<section><div class=face>{picture}</div><div><h2>{escape(head.name)}</h2><p class=steps>{escape(steps)}</p>"
        f"{why}{_worst(result)}{link}</div></section>"
    )


def _worst(result: HeadResult) -> str:
    by_step = sorted(result.found.items(), key=lambda each: each[0] == "carry")  # recipes before single shapes
    grave = [each for _, found in by_step for each in found if each.severity != "note"]
    grave.sort(key=lambda each: each.severity != "error")
    if not grave:
        return "" if result.why is not None else "<p>Nothing found.</p>"
    rows = "".join(map(_row, grave[:MOST]))
    more = f"<p>and {len(grave) - MOST} more</p>" if len(grave) > MOST else ""
    return f"<ul>{rows}</ul>{more}"


def _row(found: Found) -> str:
    hint = f"; <span class=hint>{escape(found.hint)}</span>" if found.hint else ""
    return f"<li><b class={found.severity}>{found.severity}</b> {escape(found.name)}: {escape(found.words)}{hint}</li>"


_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><style>
body{{margin:0 auto;max-width:1320px;padding:36px 32px;background:#f3f2ee;color:#18191c;
font:16px/1.5 system-ui,sans-serif}}
h1{{font-size:30px;margin:0}} h2{{font-size:22px;margin:0;overflow-wrap:anywhere}} p{{margin:6px 0}} a{{color:inherit}}
section{{display:flex;gap:28px;margin-top:32px;padding-top:24px;border-top:2px solid #18191c;align-items:flex-start}}
.face{{flex:0 0 240px}} .face img{{display:block;width:100%;height:auto}} .steps{{color:#3d4046}}
ul{{margin:10px 0;padding-left:20px}} li{{margin:4px 0;overflow-wrap:anywhere}} .hint{{color:#3d4046}}
.error{{color:#a11212;font-weight:600}} .warning{{color:#7a4b00;font-weight:600}}
@media(max-width:820px){{section{{display:block}} .face{{max-width:240px;margin-bottom:16px}}}}
@media print{{body{{background:#fff;padding:0}} section{{break-inside:avoid}}}}
</style></head><body>
<h1>{title}</h1><p>{summary}</p>
{cards}
</body></html>
"""
