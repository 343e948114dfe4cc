"""Which window has a document open: told beside it, so that a second window knows.

`.NAME.moue-window` is locked by the window that has the document, for as long as it lives (`composer.head.lock`), and
says which that is. A window that finds it locked gets a mark of its own, under which it keeps its own copy of unsaved
work; it may take the document over, which the first one notices. Nothing here reads a clock.
"""

from __future__ import annotations

import json
import os
import platform
import secrets
from contextlib import suppress
from pathlib import Path

from composer.head.lock import is_locked, lock, unlock
from composer.head.reading import DAMAGE

MOST_BYTES = 4096


class Presence:
    """This window's place at a document."""

    def __init__(self, document: Path) -> None:
        """Take the place, if no other window has it; nothing is held where the folder cannot be written."""
        self.document, self.mark, self.other = document, "", ""
        self._place = window_place(document)
        self._held, self._file = self._taken(self._place)
        if self._held is None and is_locked(self._place):
            self.other, self.mark = _words(self._place), secrets.token_hex(4)
            self._place = window_place(document, self.mark)
            self._held, self._file = self._taken(self._place)

    def _taken(self, place: Path) -> tuple[int | None, tuple[int, int] | None]:
        """Lock the file at a place, made where there is none; its lock, and which file it is."""
        with suppress(OSError):
            os.close(os.open(place, os.O_CREAT | os.O_RDONLY, 0o600))
            held = lock(place)
            if held is not None:
                place.write_text(_self())
                return held, _which(place)
        return None, None

    @property
    def lost(self) -> bool:
        """Whether another window has taken the document over."""
        return self._file is not None and _which(self._place) != self._file

    def take_over(self) -> None:
        """Take the first place; the window that has it notices. Raises OSError where the folder cannot be written."""
        own, place = self._place, window_place(self.document)
        held, file = self._held, self._file
        if held is None:
            return
        own.replace(place)
        self._place, self._held, self._file, self.other = place, held, file, ""

    def close(self) -> None:
        """Leave the document."""
        if self._held is not None and not self.lost:
            with suppress(OSError):
                self._place.unlink()
        unlock(self._held)
        self._held = self._file = None


def window_place(document: Path, mark: str = "") -> Path:
    """Where a window tells that it has a document."""
    return document.parent / f".{document.name[:40]}{f'.{mark}' if mark else ''}.moue-window"


def _self() -> str:
    return json.dumps({"process": os.getpid(), "host": platform.node()})


def _words(place: Path) -> str:
    """Which window has it, in words."""
    with suppress(OSError, *DAMAGE):
        said = json.loads(place.read_bytes()[:MOST_BYTES])
        return f"process {int(said['process'])} on {str(said['host'])[:60]}"
    return "another process"


def _which(place: Path) -> tuple[int, int] | None:
    try:
        found = place.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
