"""What a job says: JSON as every command writes it, and a line for each head."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from composer.jobs.estimate import Estimate
from composer.jobs.plan import Planned
from composer.jobs.result import HeadResult


def head_line(result: HeadResult) -> str:
    """What became of one head."""
    if result.why is not None:
        return f"{result.name}: failed at {result.at}: {result.why}"
    parts = []
    for step, state in result.states.items():
        errors = sum(each.severity == "error" for each in result.found.get(step, ()))
        told = f" ({counted(errors, 'error')})" if errors else ""
        parts.append(f"{step} {state}{told}")
    stopped = f"; stopped by what {result.at} found" if result.stopped else ""
    return f"{result.name}: {', '.join(parts)}{stopped}"


def sum_line(results: Sequence[HeadResult]) -> str:
    """What became of all heads, in one line."""
    kinds = {"failed": 0, "stopped by findings": 0, "done": 0, "unchanged": 0}
    for result in results:
        kinds[result.kind] += 1
    told = ", ".join(f"{count} {kind}" for kind, count in kinds.items() if count)
    return f"{counted(len(results), 'head')}: {told}"


def as_json(results: Sequence[HeadResult]) -> dict[str, object]:
    """Plain values by head and step: done, unchanged, failed or left out; why; and the findings."""
    return {
        "heads": {
            result.name: {
                "became": result.kind,
                "steps": {
                    step: {"became": state, "findings": [vars(each) for each in result.found.get(step, ())]}
                    for step, state in result.states.items()
                },
                **({"why": result.why} if result.why is not None else {}),
            }
            for result in results
        }
    }


def plan_json(rows: Sequence[Planned]) -> dict[str, object]:
    """Plain values by head and step: to do or unchanged; and why a head cannot be done."""
    return {
        "heads": {
            row.head.name: {"steps": dict(row.states), **({"why": row.fault} if row.fault is not None else {})}
            for row in rows
        }
    }


def plan_lines(rows: Sequence[Planned], estimate: Estimate, workers: int) -> Iterator[str]:
    """The plan, a line each head, and a sum."""
    total = 0.0
    for row in rows:
        if row.fault is not None:
            yield f"{row.head.name}: cannot be done: {row.fault}"
            continue
        seconds = sum(estimate.seconds(row.head, step) for step in row.to_do)
        total += seconds
        told = ", ".join(f"{step} {state}" for step, state in row.states.items())
        yield f"{row.head.name}: {told}" + (f"; {lasting(seconds)}" if row.to_do else "")
    to_do = [row for row in rows if row.to_do and row.fault is None]
    if to_do:
        yield f"{counted(len(to_do), 'head')} to do, {lasting(total / min(workers, len(to_do)))}"
    else:
        yield "nothing to do"


def counted(number: int, noun: str) -> str:
    """A number with its noun."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def lasting(seconds: float) -> str:
    """A length of time that is an estimate.

    >>> lasting(8), lasting(95), lasting(7000)
    ('about 10 s', 'about 2 min', 'about 1.9 h')
    """
    if seconds < 60.0:
        return f"about {max(10, 10 * round(seconds / 10))} s"
    return f"about {seconds / 60:.0f} min" if seconds < 5400.0 else f"about {seconds / 3600:.1f} h"
