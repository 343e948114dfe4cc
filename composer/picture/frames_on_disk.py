"""Pictures of one movement on disk: one animated picture, or a PNG a frame in a folder of their own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from composer.errors import MoueError
from composer.head.atomic import write_whole
from composer.head.file_names import file_names
from composer.head.new_folder import filled_whole, may_fill
from composer.head.outputs import may_write
from composer.picture.png import numbered, write_pngs

if TYPE_CHECKING:
    from PIL.Image import Image

MANIFEST = "moue-pictures.json"
MOVING = ".webp"


def may_write_moving(to: Path, sources: Iterable[Path | None] = ()) -> None:
    """Raises MoueError where no pictures of a movement may be written: as `may_write` for a .webp, as `may_fill` for a
    folder."""
    if to.suffix.lower() == MOVING:
        may_write(to, MOVING, sources)
    elif to.suffix and not to.is_dir():
        hint = f"give a name that ends in {MOVING}, or a folder for PNG files"
        raise MoueError("is not named as an animated picture", to, hint=hint)
    else:
        may_fill(to, MANIFEST, "pictures")


def write_moving(
    images: Sequence[Image], to: Path, name: str, moving: Callable[[Sequence[Image]], bytes]
) -> list[Path]:
    """Write the images of a movement to `to`, whole or not at all: as the bytes that `moving` makes of them where it
    ends in .webp, else as PNG files named after `name` in that folder. Returns the paths. Raises MoueError as
    `may_write_moving`."""
    if to.suffix.lower() == MOVING:
        made = moving(images)
        write_whole(to, lambda file: file.write(made))
        return [to]
    names = numbered(Path(file_names([name], ".png")[name]).stem, len(images))
    with filled_whole(to, MANIFEST, "pictures") as beside:
        write_pngs(beside, names, images)
    return [to / each for each in names]
