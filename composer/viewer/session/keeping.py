"""The autosaved copy of the open document: offered after a crash, deleted once the document is saved or closed."""

from __future__ import annotations

import contextlib
import hashlib
import time
from pathlib import Path

from composer.document.autosave import Waiting, autosave_place, copies_of, forget, keep, waiting
from composer.document.presence import window_place
from composer.document.project import Project
from composer.errors import MoueError
from composer.head.lock import is_locked
from composer.viewer.session.session import Session
from composer.viewer.session.settings import data_folder
from composer.viewer.session.work import Work

EVERY_SECONDS = 20.0


def place_of(file: Path | None, untitled: Path, mark: str = "") -> Path:
    """Where the copy lies: beside its document, with the window's `mark`, or for one without a file in Moue's own
    folder, by its path."""
    if file is not None:
        return autosave_place(file, mark=mark)
    digest = hashlib.sha256(str(untitled.resolve()).encode("utf-8", "surrogatepass")).hexdigest()[:16]
    return autosave_place(untitled, data_folder() / "kept" / digest)


def waiting_for(file: Path | None, untitled: Path) -> Waiting | None:
    """The copy that waits for a document, None where there is none, or none that can be read."""
    places = [place_of(None, untitled)] if file is None else [place for place, mark in copies_of(file)
                                                              if not is_locked(window_place(file, mark))]  # fmt: skip
    for place in places:
        with contextlib.suppress(MoueError):
            found = waiting(file or untitled, place)
            if found is not None:
                return found
    return None


class Keeping:
    """The copy of one session."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._kept: Project = session.history.committed
        self._at = time.monotonic()
        self.every = EVERY_SECONDS
        self.mark = ""
        """This window's mark, where another one has the same document."""
        self.taken: Path | None = None
        """Another copy that was opened here: it goes when the document is saved."""
        self.kept_at = 0.0
        """When a copy was kept last, seconds since 1970; 0 for never."""

    @property
    def place(self) -> Path:
        """Where the copy of the session lies."""
        return place_of(self._session.file, self._session.project.path, self.mark)

    def step(self, work: Work) -> None:
        """Keep a copy beside the frame loop, where something has changed and the last one is some seconds old."""
        session = self._session
        if time.monotonic() - self._at < self.every:
            return
        self._at = time.monotonic()
        project = session.history.committed
        if project is self._kept or not session.unsaved:
            return
        self._kept = project
        place = self.place
        work.begin("Keeping a copy", lambda progress: keep(project, place), self._done, lambda _: None, quiet=True)

    def _done(self, _: object) -> None:
        self.kept_at = time.time()

    def now(self) -> bool:
        """Keep a copy at once, where something is not saved; whether there is one."""
        if not self._session.unsaved:
            return False
        try:
            keep(self._session.history.committed, self.place)
        except MoueError:
            return False
        return True

    def give_up(self, place: Path | None = None) -> None:
        """Delete the copy, at `place` where that is not its place now; a copy that cannot be deleted stays."""
        with contextlib.suppress(MoueError):
            forget(place or self.place)
            if self.taken is not None and place is None:
                forget(self.taken)
