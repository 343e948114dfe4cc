"""A progress bar with the remaining time on a terminal's standard error; it disappears when the work is done."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from composer.cli.console import is_quiet
from composer.errors import visible


@contextmanager
def bar(words: str, thread: bool = True) -> Iterator[Callable[[float, str], None]]:
    """A function (fraction 0 to 1, words) that moves the bar; without a `thread` of its own it is drawn at each call
    (for a process that forks)."""
    if is_quiet() or not sys.stderr.isatty():
        yield lambda fraction, text: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, auto_refresh=thread) as progress:
        task = progress.add_task(words, total=1.0)
        yield lambda fraction, text: progress.update(
            task, completed=fraction, description=visible(text), refresh=not thread
        )
