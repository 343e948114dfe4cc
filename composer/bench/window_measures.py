"""The window's measures, by name; each is a module of this package with `rows() -> list[Row]`, and needs OpenGL."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from composer.bench.measure import Row

WINDOW_MEASURES = ("window_frame", "window_gpu", "window_clip", "window_large")


def run_window(names: Sequence[str]) -> Iterator[Row]:
    """The rows of the named measures. Raises MoueError where there is no OpenGL."""
    if names:
        import_module("composer.bench.window_gpu")  # first: it makes GL work without a screen
    for name in names:
        yield from import_module(f"composer.bench.{name}").rows()
