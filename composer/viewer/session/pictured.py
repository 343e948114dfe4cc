"""Pictures in texture coordinates that come in as masks: as a new region, or in the place of a region's mask."""

from __future__ import annotations

from pathlib import Path

from composer.document.project import Region
from composer.edits.names import free_name
from composer.edits.picture_mask import mask_of_picture
from composer.edits.regions import add_region, set_mask
from composer.errors import MoueError
from composer.viewer.session.stage import Stage

PICTURES = (".png", ".tif", ".tiff", ".jpg", ".jpeg")


def is_picture(path: Path) -> bool:
    """Whether a file is named as a picture that can be a mask."""
    return path.suffix.lower() in PICTURES


def take_picture(stage: Stage, path: Path, into: str = "") -> None:
    """Read a picture as the mask of a region, or of a new one named after the file. Tells what was refused."""
    session = stage.opened

    def read() -> None:
        mask, lost = mask_of_picture(session.head, path)
        stem, taken = path.stem, session.region_names
        name = into or (free_name(stem, taken) if stem in taken else stem)
        if into and session.project.region(into).locked:
            raise MoueError(f"{into} is locked: its mask stays as it is", hint="unlock it in its menu")
        if into:
            session.apply(lambda p: set_mask(p, name, mask))
        else:
            session.apply(lambda p: add_region(p, Region(name, {"from": "file"}), mask))
        session.region = name
        area = session.head.surface.mass[session.head.skin]
        share = 100.0 * float(area @ mask[session.head.skin]) / float(area.sum())
        words = f"{name} is {path.name}: {share:.0f} percent of the skin."
        if lost:
            words += f" {lost} vertices have no place on it."
        stage.say(words, "done")

    stage.guard(read)
