"""Names that a document's regions, recipes and kept shapes may have."""

from __future__ import annotations

from collections.abc import Collection

from composer.document.project import RESERVED, Project
from composer.errors import MoueError
from composer.head.file_names import LONGEST_NAME, check_name


def check_new_region(project: Project, name: str) -> None:
    """Raises MoueError for a name that is reserved, taken, or that no file may have."""
    names = [region.name for region in project.regions]
    if name in RESERVED:
        raise MoueError(f"a region may not be named {name!r}", project.path, hint="it always exists")
    if name in names:
        raise MoueError(f"a region named {name!r} is there already", project.path)
    check_name(name, "region", project.path, [*names, *RESERVED])


def free_name(name: str, taken: Collection[str]) -> str:
    """The name with the first number from 2 that is free, cut to the longest name allowed."""
    known = {each.casefold() for each in taken}
    number = 2
    while True:
        tail = f"_{number}"
        stem = name.encode()[: LONGEST_NAME - len(tail)].decode(errors="ignore")
        if (stem + tail).casefold() not in known:
            return stem + tail
        number += 1
