"""A carry in pictures: a row for each shape, with the new head's shape carried in each of the three ways."""

from __future__ import annotations

from collections.abc import Sequence

from composer.errors import MoueError
from composer.fitting.amplitude import Amplitude
from composer.fitting.carry import WAYS, Carrier
from composer.fitting.carry_head import dressed
from composer.head.head import Head
from composer.picture.render import Studio
from composer.picture.sheet import Entry, Sheet, contact_sheet
from composer.progress import Progress

SHOWN = 6
"""Shapes on a sheet where none is named (our choice: as many as are seen at a glance)."""


def shapes_to_show(head: Head, names: Sequence[str]) -> list[str]:
    """The named shapes, each once, or without names the few that move furthest, in the library's order.

    Raises MoueError for an unknown name.
    """
    if names:
        return [head.shape(name).name for name in dict.fromkeys(names)]
    furthest = sorted(head.shapes, key=lambda shape: -shape.furthest_mm)[:SHOWN]
    chosen = {shape.name for shape in furthest}
    return [name for name in head.shape_names if name in chosen]


def carry_sheet(
    library: Head, fitted: Head, names: Sequence[str], view: str, contact: bool, amplitude: Amplitude = "auto",
    progress: Progress | None = None,
) -> Sheet:  # fmt: skip
    """A sheet of the shapes `names` of a library on a fitted head; `contact` and `amplitude` are as in
    `Carrier`.

    Raises MoueError for an unknown shape or view, and where there is nothing to show.
    """
    if not names:
        raise MoueError("there is no shape to show")
    carriers = {way: Carrier(library, fitted.neutral, way, contact, amplitude) for way in WAYS}
    entries = [
        Entry(name, fitted.neutral + carriers[way].carry(library.shape(name).delta), f"by {way}")
        for name in names for way in WAYS
    ]  # fmt: skip
    return contact_sheet(
        Studio.of(dressed(library, fitted)), entries, title=f"{library.name} on {fitted.name}", view=view,
        columns=len(WAYS), progress=progress,
        counts=f"{len(names)} shapes, each by displacement, by local frames and by gradients",
    )  # fmt: skip
