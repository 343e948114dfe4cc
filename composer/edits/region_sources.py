"""What regions for a library can be made from: the one list, which command and window take their choices from.

It loads nothing until regions are laid, so that `moue --help` can ask for the names.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Literal

from composer.errors import unknown

if TYPE_CHECKING:
    from composer.head.head import Head
    from masks.from_displacement import MovingRegions

MOVING = 16
"""How many regions are looked for in what moves together, unless said (our choice)."""


@dataclass(frozen=True)
class Asked:
    """What a person may say beside the source: the preset of landmarks, the most regions that move together, the width
    of groups' borders in mm; and what moves together, where that is known already."""

    preset: str = "face"
    count: int = MOVING
    ramp_mm: float = 8.0
    found: MovingRegions | None = None


@dataclass(frozen=True)
class RegionSource:
    """A source: its name, what it is in a few words, and its module, whose `lay(head, asked)` gives the regions'
    tables as a document writes them, by name, and notes. `landmarks` says what is done on a head that nobody has
    marked: they are found and "kept" in the document, found and only "used", or left "unused"."""

    name: str
    words: str
    module_name: str
    landmarks: Literal["kept", "used", "unused"]

    def lay(self, head: Head, asked: Asked) -> tuple[dict[str, dict[str, Any]], list[str]]:
        """The tables of the regions, by name, and notes of what was left out; none where the head has nothing."""
        laid: tuple[dict[str, dict[str, Any]], list[str]] = import_module(self.module_name).lay(head, asked)
        return laid


REGION_SOURCES: tuple[RegionSource, ...] = (
    RegionSource("landmarks", "presets on the head's landmarks", "composer.edits.regions_from_landmarks", "kept"),
    RegionSource("displacement", "what moves together", "composer.edits.regions_from_displacement", "used"),
    RegionSource("groups", "groups or materials", "composer.edits.regions_from_groups", "unused"),
)


def region_source(name: str) -> RegionSource:
    """The source of this name. Raises MoueError with the nearest names."""
    for source in REGION_SOURCES:
        if source.name == name:
            return source
    raise unknown("source of regions", name, [source.name for source in REGION_SOURCES])
