"""The rows of the bench, in the order of the job: one module a row, each with `rows() -> list[Row]`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from importlib import import_module

from composer.bench.measure import Row
from composer.bench.measures import MEASURES
from composer.errors import MoueError, unknown


def run(
    names: Sequence[str] = (), say: Callable[[str], None] | None = None,
    left_out: Callable[[str], None] | None = None,
) -> Iterator[Row]:  # fmt: skip
    """The rows of the named measures, or of all. Where all are measured, `left_out` is told why one cannot be.

    Raises MoueError for an unknown name, and for a measure that cannot be taken where it is named or nobody is told.
    """
    for name in names:
        if name not in MEASURES:
            raise unknown("measure", name, MEASURES)
    for name in names or MEASURES:
        if say is not None:
            say(name)
        try:
            yield from import_module(f"composer.bench.{name}").rows()
        except MoueError as error:
            if names or left_out is None:
                raise
            left_out(str(error))
