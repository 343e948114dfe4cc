"""What becomes of a file or folder that is dropped on the window."""

from __future__ import annotations

from pathlib import Path

from composer.formats.registry import suffixes
from composer.viewer.session.open_job import begin_opening, open_sculpt
from composer.viewer.session.pictured import is_picture, take_picture
from composer.viewer.session.reference_pictures import add_reference
from composer.viewer.session.saving import unless_unsaved
from composer.viewer.session.stage import Stage


def take_dropped(stage: Stage, path: Path) -> None:
    """A picture becomes a mask while masks are painted, else a reference behind the head; any mesh the sculpt in the
    place of a new head; of a single target over an open document it is asked what it is for; all else is opened."""
    if stage.session is not None and stage.place == "paint" and is_picture(path):
        take_picture(stage, path)
    elif stage.session is not None and stage.place == "new":
        open_sculpt(stage, path)
    elif stage.session is not None and is_picture(path):
        stage.guard(lambda: add_reference(stage, path, lambda name: stage.say(f"{name} lies behind the head.", "done")))
    elif stage.session is not None and is_single_target(path):
        stage.dialogs.dropped = path
    else:
        open_dropped(stage, path)


def open_dropped(stage: Stage, path: Path) -> None:
    """Open it, once unsaved changes have been asked about."""
    unless_unsaved(stage, lambda: begin_opening(stage, path))


def is_single_target(path: Path) -> bool:
    """Whether a path is a file of a format that holds one mesh, so that it may be a target."""
    return path.suffix.lower() in suffixes(many_shapes=False) and path.is_file()
