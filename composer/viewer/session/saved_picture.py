"""A picture of what is seen, saved: still, turned about, with a cell swept, or a clip, as the commands picture them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated_clip import EvaluatedClip
from composer.document.kept_view import KeptView
from composer.document.project import Project
from composer.edits.trials import sweep
from composer.errors import MoueError
from composer.head.file_names import file_names
from composer.head.folders import is_there
from composer.head.head import Head
from composer.head.outputs import may_write
from composer.mixing.recipe import CellKey, Recipe
from composer.picture.clip_picture import animated, durations, pictures, there_and_back
from composer.picture.figure import SKIN
from composer.picture.fine_enough import studio_for
from composer.picture.frames_on_disk import may_write_moving, write_moving
from composer.picture.heat_entries import with_movement
from composer.picture.png import write_png
from composer.picture.render import Studio
from composer.picture.sheet import Entry, in_turn, still
from composer.picture.turntable import one_turn, turntable
from composer.picture.views import kept_target
from composer.progress import Progress
from composer.viewer.session.kept_views import view_now
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

if TYPE_CHECKING:
    from PIL.Image import Image

Kind = Literal["still", "turn", "sweep", "clip"]
SAVING = "Saving a picture"
WITH_POSE = ("strain", "movement", "difference", "left")
"""Colours that change with the pose."""


@dataclass(frozen=True)
class Wish:
    """What is to be saved: the `kind`, the `path` (a .png for a still, else a .webp or a folder of PNG files), width
    and height in pixels, whether without the ground (`clear`), how many `steps` a turn or a sweep has, and whether
    what is at the path may be written `over`."""

    kind: Kind
    path: Path
    size: tuple[int, int]
    clear: bool = False
    steps: int = 48
    over: bool = False


@dataclass(frozen=True, eq=False)
class Seen:
    """What is seen as the picture is asked for: the view, the pose (n, 3) mm and its name, colours over it (n, 4) of
    this `overlay` or None, the light, what is hidden, the recipe and its cell to sweep between two weights, a clip."""

    session: Session
    view: KeptView
    positions: NDArray
    name: str
    colours: NDArray | None
    overlay: str
    light: str
    hidden: frozenset[str]
    recipe: Recipe
    cell: CellKey | None
    limits: tuple[float, float]
    clip: EvaluatedClip | None


def seen_now(
    stage: Stage, colours: NDArray | None, clip: EvaluatedClip | None, limits: tuple[float, float] = (0.0, 1.0)
) -> Seen:
    """What is seen now, with the `colours` (n, 4) uint8 that lie over the head."""
    session = stage.opened
    shown = None if colours is None else np.asarray(colours, dtype=np.float64) / 255.0
    cell = (session.region, session.shape, False) if session.shape else None
    return Seen(
        session, view_now(stage, ""), np.array(session.positions(), dtype=np.float64),
        stage.seen_recipe.name or session.title, shown, stage.overlay, stage.light, stage.hidden, session.recipe, cell,
        limits, clip,
    )  # fmt: skip


def place_fault(wish: Wish, project: Project) -> str:
    """Why nothing may be written at the path of a wish, "" where it may; what is there already is no fault."""
    try:
        sources = (project.path, project.head_path)
        may_write(wish.path, ".png", sources) if wish.kind == "still" else may_write_moving(wish.path, sources)
    except MoueError as error:
        return str(error)
    return ""


def there_already(wish: Wish) -> bool:
    """Whether there is something at the path that a save would replace."""
    try:
        folder = wish.path.is_dir()
        return any(wish.path.iterdir()) if folder else is_there(wish.path)
    except (OSError, ValueError):
        return False


def save_picture(stage: Stage, seen: Seen, wish: Wish) -> None:
    """Make the picture beside the frame loop, and write it, whole or not at all. Raises MoueError where it cannot be
    made, or something is there that may not be written over."""
    session = stage.opened
    fault = place_fault(wish, session.project)
    if fault:
        raise MoueError(fault)
    if there_already(wish) and not wish.over:
        raise MoueError("is there already", wish.path, hint="tick overwrite, or give another name")
    if {SKIN, *(part.name for part in session.head.parts)} <= seen.hidden:
        raise MoueError("every part of the head is hidden", hint="show one under Parts")
    make = _maker(seen, wish)

    def made(progress: Progress) -> list[Path]:
        progress(0.0, "making the head finer")
        images, moving = make(progress)
        if there_already(wish) and not wish.over:  # it may have taken long
            raise MoueError("has come there meanwhile", wish.path, hint="give another name")
        progress(0.99, "writing")
        if wish.kind == "still":
            write_png(wish.path, images[0])
            return [wish.path]
        return write_moving(images, wish.path, file_names([seen.name], ".png")[seen.name], moving)

    def done(paths: list[Path]) -> None:
        words = str(wish.path) if len(paths) == 1 else f"{len(paths)} pictures into {wish.path}"
        stage.say(f"Saved {words}", "done")

    stage.work.begin(SAVING, made, done, asks=True)


Made = tuple[list["Image"], Callable[..., bytes]]


def _maker(seen: Seen, wish: Wish) -> Callable[[Progress], Made]:
    """What makes the images of a wish, and bytes of them where they move. Raises MoueError where it cannot be made."""
    makers = {"still": _still, "turn": _turn, "sweep": _sweep, "clip": _clip}
    if wish.kind == "sweep" and seen.cell is None:
        raise MoueError("no cell is chosen to be swept", hint="choose a shape in the tray, or a cell on the board")
    if wish.kind == "clip" and seen.clip is None:
        raise MoueError("there is no clip to picture", hint="make one in the strip of time")
    head = seen.session.evaluated.head
    make = makers[wish.kind]
    return lambda progress: make(seen, wish, head, progress)


def _studio(seen: Seen, wish: Wish, head: Head) -> Studio:
    """The studio of the head, as fine as what the picture shows of it needs."""
    target, _ = kept_target(seen.view, head.neutral)
    half = 0.5 * seen.view.height * head.diagonal
    box = target + half * np.array([[-1.0, -1.0, -1.0], [1.0, 1.0, 1.0]])
    return studio_for(head, (10**9, wish.size[1]), box, seen.hidden)


def _still(seen: Seen, wish: Wish, head: Head, progress: Progress) -> Made:
    entry = Entry(seen.name, seen.positions, colours=seen.colours)
    picture = still(
        _studio(seen, wish, head), entry, view=seen.view, size=wish.size, light=seen.light, clear=wish.clear
    )
    return [picture], one_turn


def _turn(seen: Seen, wish: Wish, head: Head, progress: Progress) -> Made:
    images = turntable(
        _studio(seen, wish, head), seen.positions, frames=wish.steps, view=seen.view, size=wish.size,
        colours=seen.colours, light=seen.light, clear=wish.clear, progress=progress,
    )  # fmt: skip
    return images, one_turn


def _sweep(seen: Seen, wish: Wish, head: Head, progress: Progress) -> Made:
    assert seen.cell is not None
    evaluated, entries = seen.session.evaluated, []
    for number, recipe in enumerate(sweep(seen.recipe, seen.cell, *seen.limits, wish.steps)):
        progress(0.0, f"pose {number + 1} of {wish.steps}")
        entries.append(Entry(recipe.name, evaluated.pose(recipe), colours=_lasting(seen)))
    if seen.overlay == "movement":
        entries = with_movement(head.neutral, entries)[0]
    images = in_turn(
        _studio(seen, wish, head), entries, view=seen.view, size=wish.size, light=seen.light, clear=wish.clear,
        progress=progress,
    )  # fmt: skip
    return images, there_and_back


def _clip(seen: Seen, wish: Wish, head: Head, progress: Progress) -> Made:
    clip = seen.clip
    assert clip is not None
    numbers = range(clip.n_frames)
    images = pictures(
        clip, _studio(seen, wish, head), numbers, view=seen.view, size=wish.size, colours=_lasting(seen),
        light=seen.light, clear=wish.clear, progress=progress,
    )  # fmt: skip
    return images, lambda taken: animated(taken, durations(clip, numbers))


def _lasting(seen: Seen) -> NDArray | None:
    """The colours that stay while the face moves."""
    return None if seen.overlay in WITH_POSE else seen.colours


__all__ = ["SAVING", "Kind", "Seen", "Wish", "place_fault", "save_picture", "seen_now", "there_already"]
