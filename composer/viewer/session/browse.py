"""The machine's own dialog for folders and files, where it has one that works."""

from __future__ import annotations

import os
import shutil
from functools import cache
from pathlib import Path

from composer.progress import Progress
from composer.viewer.session.open_job import begin_opening
from composer.viewer.session.saving import unless_unsaved
from composer.viewer.session.stage import Stage

HELPERS = ("zenity", "kdialog", "qarma", "matedialog")
"""On Linux the dialog is another program; without one of these it would look like a cancel."""


def can_browse() -> bool:
    """Whether this machine has a dialog for files that works."""
    path = os.environ.get("PATH")
    if os.name == "nt" or _has("osascript", path):
        return True
    screen = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    return bool(screen) and any(_has(each, path) for each in HELPERS)


@cache
def _has(program: str, path: str | None) -> bool:
    """Whether a program is found along `path`: looked up once, since every frame asks."""
    return shutil.which(program, path=path) is not None


def browse(stage: Stage) -> None:
    """Ask for a library's folder beside the frame loop, and open it."""
    from imgui_bundle import portable_file_dialogs as dialogs

    asked = dialogs.select_folder("Open a library")

    def wait(progress: Progress) -> str:
        while not asked.ready(50):
            progress(0.5, "waiting for a choice")
        return asked.result()

    def chosen(path: str) -> None:
        if path:
            unless_unsaved(stage, lambda: begin_opening(stage, Path(path)))

    stage.work.begin("Choosing", wait, chosen)


def ask_for_path(stage: Stage) -> None:
    """Ask for something to open, by the machine's dialog or by a field for its path."""
    if can_browse():
        browse(stage)
    else:
        stage.dialogs.open_path = True
