"""The landmarks on a sculpt and the zones painted for it, autosaved beside it, and read again after a crash."""

from __future__ import annotations

import contextlib
import time
from pathlib import Path

from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.keeping import EVERY_SECONDS
from composer.viewer.session.same_key import same_key
from composer.viewer.session.work import Work


class KeepingMarks:
    """The copy of the landmarks on one sculpt."""

    def __init__(self, new: NewHead) -> None:
        self._new, self._kept = new, (new.marks, new.zones)
        self._at = time.monotonic()
        self.every = EVERY_SECONDS

    @property
    def place(self) -> Path:
        """Where the copy lies."""
        return self._new.copy_place

    def step(self, work: Work) -> None:
        """Keep a copy beside the frame loop, where landmarks have changed and the last one is some seconds old."""
        if time.monotonic() - self._at < self.every:
            return
        self._at, new = time.monotonic(), self._new
        standing = (new.marks, new.zones)
        if same_key(self._kept, standing) or not new.unsaved:
            return
        self._kept, place = standing, self.place
        work.begin(
            "Keeping a copy of landmarks", lambda progress: new.write_landmarks(place), lambda _: None, lambda _: None,
            quiet=True,
        )  # fmt: skip

    def give_up(self) -> None:
        """Delete the copy; a copy that cannot be deleted stays."""
        with contextlib.suppress(OSError):
            self.place.unlink(missing_ok=True)
