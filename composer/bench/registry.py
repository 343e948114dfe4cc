"""The rows of the bench, in the order of the job: one module a row, each with `rows() -> list[Row]`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from importlib import import_module

from composer.bench.measure import Row
from composer.bench.measures import MEASURES
from composer.errors import unknown


def run(names: Sequence[str] = (), say: Callable[[str], None] | None = None) -> Iterator[Row]:
    """The rows of the named measures, or of all. Raises MoueError for an unknown name."""
    for name in names:
        if name not in MEASURES:
            raise unknown("measure", name, MEASURES)
    for name in names or MEASURES:
        if say is not None:
            say(name)
        yield from import_module(f"composer.bench.{name}").rows()
