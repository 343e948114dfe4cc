"""The files of a document's clips and reference pictures, copied beside a carried document, which may not refer to the
old folder."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from composer.document.project import Project
from composer.errors import MoueError
from composer.formats.weight_csv import MOST_BYTES
from composer.head.atomic import write_whole
from composer.head.file_names import same_file
from composer.head.reading import bytes_of
from composer.head.references import referred

MOST_PICTURE = 256 << 20
"""The largest file of a picture that is copied, in bytes; a safety limit."""


def copied_beside(old: Project, new: Project, folder: Path) -> dict[str, str]:
    """Copy the files of a document's clips and reference pictures to `folder`, and return where the carried document
    `new` finds them, by the place that it names now. A file that cannot be read stays where it is."""
    pairs: list[tuple[str, str, str, int, Path | None]] = [
        (before.file, after.file, f"clip {before.name!r}", MOST_BYTES, None)
        for before, after in zip(old.clips, new.clips, strict=True)
    ]
    pairs += [(before.file, after.file, f"reference {before.name!r}", MOST_PICTURE, old.head_path)
              for before, after in zip(old.references, new.references, strict=True)]  # fmt: skip
    places: dict[str, str] = {}
    for place, named, what, most, also in pairs:
        if place and named not in places:
            with suppress(MoueError):
                source = referred(place, old.path, what, also)
                name = free_file(source, [new.path.name, *places.values(), *(file.name for file in folder.iterdir())])
                data = bytes_of(source, most, what)
                write_whole(folder / name, lambda file, data=data: file.write(data))  # type: ignore[misc]
                places[named] = name
    return places


def free_file(source: Path, taken: Iterable[str]) -> str:
    """The name of a file, with a number where it is taken on some file system."""
    known, name, number = {same_file(each) for each in taken}, source.name, 2
    while same_file(name) in known:
        name, number = f"{source.stem}_{number}{source.suffix}", number + 1
    return name
