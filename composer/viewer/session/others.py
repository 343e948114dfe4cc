"""What others do with the open document: it is changed outside, another window has it, or takes it over."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from threading import Lock

from composer.document.one_save import hash_of
from composer.document.presence import Presence
from composer.document.step_words import step_words
from composer.document.store import changed_outside, moved_to, open_document
from composer.progress import Progress
from composer.viewer.session.session import Session
from composer.viewer.session.work import Work

EVERY_SECONDS = 1.0
"""The file's state is asked for so often: a change is noticed within two seconds."""
SAVING = "Saving "
Looks = tuple[int, int, int]


class Others:
    """Watches the file of one session, and its place among windows."""

    def __init__(self, session: Session, work: Work, before: Others | None, taken: Callable[[str], object]) -> None:
        """Take the place of what was watched `before`. Files are asked beside the frame loop; then `taken` gets the
        mark of this window, "" for the only one."""
        self._session, self._taken = session, taken
        self.presence: Presence | None = None
        self._closed, self._taking, file = False, Lock(), session.file
        self._made: Presence | None = None
        """The place as soon as it is taken, also where nobody waits for it any more."""

        def take(_: Progress) -> Presence | None:
            if before is not None:
                before.close()
            with self._taking:
                if file is not None and not self._closed:
                    self._made = Presence(file)
            return self._made

        work.begin("Looking for other windows", take, self._is_there, lambda _: None, quiet=True)
        self._at, self._seen = time.monotonic(), _looks(session.file)
        self.asks = False
        """Whether the person is to be asked: look, or take over."""
        self.looking = False
        """Whether the document is only looked at: it is not saved over."""
        self.changed = False
        self.differs = ""

    def _is_there(self, presence: Presence | None) -> None:
        self.presence = presence
        if presence is not None:
            self.asks = bool(presence.other)
            self._taken(presence.mark)

    @property
    def due(self) -> bool:
        """Whether something is to be looked at, or told, in a frame now."""
        return time.monotonic() - self._at >= EVERY_SECONDS and self._news

    @property
    def _news(self) -> bool:
        lost = self.presence is not None and self.presence.lost and not self.looking
        return lost or _looks(self._session.file) != self._seen

    def step(self, work: Work) -> str:
        """Look once in a while; what is to be told, if anything."""
        session = self._session
        if time.monotonic() - self._at < EVERY_SECONDS or any(job.name.startswith(SAVING) for job in work.jobs):
            return ""
        self._at = time.monotonic()
        if self.presence is not None and self.presence.lost and not self.looking:
            self.looking = True
            return f"{session.title} was taken over by another window: here it can be saved under another name."
        now, file = _looks(session.file), session.file
        if now != self._seen and file is not None:
            self._seen, project = now, session.history.committed
            work.begin(
                "Looking at the file", lambda progress: now is not None and changed_outside(project, file),
                self._looked, lambda _: None, quiet=True,
            )  # fmt: skip
        return ""

    def _looked(self, changed: bool) -> None:
        self.changed, self.differs = changed, ""

    def take_over(self) -> None:
        """The document is this window's from now on."""
        self.asks = False
        if self.presence is not None:
            self.presence.take_over()

    def look(self) -> None:
        """Only look at it: it is not saved over."""
        self.asks, self.looking = False, True

    def keep_mine(self) -> None:
        """The next save writes over what is in the file now."""
        file = self._session.file
        if file is not None:
            self._session.project.on_disk.hashes[file.resolve()] = hash_of(file)
        self.changed = False

    def tell_differences(self, work: Work) -> None:
        """Find what the file says otherwise."""
        file, mine = self._session.file, self._session.history.committed
        if file is not None:
            work.begin(
                "Comparing", lambda progress: step_words(mine, moved_to(open_document(file), mine.path)), self._told,
                self._told, quiet=True,
            )  # fmt: skip

    def _told(self, words: str) -> None:
        self.differs = words

    def close(self) -> None:
        """Leave the document."""
        self._closed = True
        with self._taking:
            if self._made is not None:
                self._made.close()


def _looks(file: Path | None) -> Looks | None:
    """What tells that a file was written: its time, size and number, whatever the clock says."""
    if file is None:
        return None
    try:
        found = os.stat(file)
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
