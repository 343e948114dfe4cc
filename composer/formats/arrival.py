"""What of one file is known before all of it is read: its neutral, then its shapes, for who looks on meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from composer.formats.mesh import Mesh
    from composer.head.head import Head, Shape

Known = TypeVar("Known")


def nobody(_: object) -> None:
    """For what nobody looks at."""


@dataclass(frozen=True)
class Arrival:
    """Who is told while a file is read: `neutral` gets the mesh without its shapes, once, and `shape` each shape after
    it where shapes are read one by one; both in the file's unit. What is told may differ from what is read in the end:
    vertices that only the shapes tell apart are still one.
    """

    neutral: Callable[[Mesh], None] = nobody
    shape: Callable[[Shape], None] = nobody


@dataclass(frozen=True)
class HeadArrival:
    """The same of a library: `neutral` gets the head without its shapes, parts and own axes, `shape` each shape that is
    read after it; both in mm, standing as `neutral` does."""

    neutral: Callable[[Head], None] = nobody
    shape: Callable[[Shape], None] = nobody


UNSEEN = Arrival()
