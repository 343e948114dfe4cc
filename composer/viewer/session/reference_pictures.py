"""The reference pictures of the open document: read beside the frame loop, laid, placed, and why one is not shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from composer.document.project import Project
from composer.document.reference_picture import ReferencePicture
from composer.edits.references import delete_reference, lay_picture, replace_reference
from composer.errors import MoueError
from composer.head.folders import is_there
from composer.head.pictures import open_picture
from composer.head.references import referred
from composer.progress import Progress
from composer.viewer.render.look import Backdrop

if TYPE_CHECKING:
    from composer.viewer.session.stage import Stage

MOST_SIDE = 2048
"""The longest side that is kept of a picture, in pixels (our choice: more than a view shows)."""
READING = "Reading the reference"


@dataclass
class ReferencePictures:
    """Pictures that were read, (h, w, 4) uint8 by their path, why others were not (`faults`, by path), the name of the
    one that is being placed by hand, and the backdrops as they were drawn last."""

    held: dict[Path, NDArray[np.uint8]] = field(default_factory=dict)
    faults: dict[Path, str] = field(default_factory=dict)
    placing: str = ""
    _asked: set[Path] = field(default_factory=set)
    _drawn: dict[ReferencePicture, Backdrop] = field(default_factory=dict)

    def backdrops(self, stage: Stage) -> tuple[Backdrop, ...]:
        """What is to be drawn, in order; those that are not read yet are asked for."""
        shown = [one for one in stage.opened.project.references if not one.hidden]
        drawn = {}
        for one in shown:
            path = path_of(stage.opened.project, one)
            picture = self.held.get(path)
            if picture is None:
                self._read(stage, one, path)
            elif one in self._drawn and self._drawn[one].picture is picture:
                drawn[one] = self._drawn[one]
            else:
                drawn[one] = Backdrop(picture, one.middle, one.height, one.opacity, one.over)
        self._drawn = drawn
        return tuple(drawn.values())

    def fault(self, stage: Stage, one: ReferencePicture) -> str:
        """Why a picture cannot be shown, "" where it can."""
        return self.faults.get(path_of(stage.opened.project, one), "")

    def look_again(self) -> None:
        """Try again to read what could not be read."""
        self._asked -= set(self.faults)
        self.faults = {}

    def _read(self, stage: Stage, one: ReferencePicture, path: Path) -> None:
        if path in self._asked:
            return
        self._asked.add(path)
        project = stage.opened.project

        def read(progress: Progress) -> NDArray[np.uint8]:
            progress(0.0, one.name)
            return picture_of(referred(one.file, project.path, f"reference {one.name!r}", project.head_path))

        def done(picture: NDArray[np.uint8]) -> None:
            self.held[path] = picture

        def failed(words: str) -> None:
            self.faults[path] = words
            stage.say(words, "wrong")

        stage.work.begin(f"{READING} {one.name}", read, done, failed, quiet=True)


def picture_of(path: Path) -> NDArray[np.uint8]:
    """(h, w, 4) uint8 sRGB and alpha of a picture, no side longer than MOST_SIDE, upright as its camera held it. Raises
    MoueError as `open_picture`."""
    from PIL import ImageOps

    if not is_there(path):
        raise MoueError("is not there", path, hint="put it back, or take the reference away")
    with open_picture(path) as picture:
        picture.draft("RGB", (MOST_SIDE, MOST_SIDE))
        picture.thumbnail((MOST_SIDE, MOST_SIDE))
        upright = ImageOps.exif_transpose(picture)
        return np.ascontiguousarray(np.asarray(upright.convert("RGBA"), dtype=np.uint8))


def path_of(project: Project, one: ReferencePicture) -> Path:
    """Where the file of a reference picture lies."""
    return project.path.parent / one.file


def add_reference(stage: Stage, path: Path, show: Callable[[str], object]) -> None:
    """Lay a picture behind the head, and `show` it by its name. Raises MoueError where it cannot be."""
    picture_of(path)  # what cannot be read is refused before it is in the document
    name = lay_picture(stage.opened.history.committed, path)[1]
    stage.opened.apply(lambda project: lay_picture(project, path)[0])
    stage.references.look_again()
    show(name)


def change(stage: Stage, name: str, **values: object) -> None:
    """Change some values of a reference picture, as one step."""
    stage.do(lambda p: replace_reference(p, name, replace(p.reference(name), **values)))  # type: ignore[arg-type]


def take_away(stage: Stage, name: str) -> None:
    """Take a reference picture away; its file stays."""
    if stage.references.placing == name:
        stage.references.placing = ""
    if stage.do(lambda project: delete_reference(project, name)):
        stage.say(f"Took the reference {name} away; its file stays, and undo brings it back.")


def box_in_view(stage: Stage, name: str) -> tuple[float, float, float, float] | None:
    """Left, top, right and foot in window points of a reference picture that is shown; None where it is not."""
    project = stage.opened.project
    one = next((each for each in project.references if each.name == name and not each.hidden), None)
    picture = None if one is None else stage.references.held.get(path_of(project, one))
    if one is None or picture is None:
        return None
    left, top, width, height = stage.view
    x, y = left + width / 2 + one.middle[0] * height, top + height / 2 - one.middle[1] * height
    half = one.height * height / 2
    wide = half * picture.shape[1] / picture.shape[0]
    return x - wide, y - half, x + wide, y + half
