"""What keeps contact in the mixes of a head, kept over the edits of its document.

Places, grids and factors depend on the head alone; the depths of shapes also on its hinges. Masks do not count.
"""

from __future__ import annotations

from threading import RLock

from composer.mixing.contact import MixContact
from composer.mixing.linear import Mixer
from composer.progress import Progress


class MixContacts:
    """The contact of the last head asked for, made by one thread at a time."""

    def __init__(self) -> None:
        self._lock = RLock()
        self._made: MixContact | None = None

    def of(self, mixer: Mixer, progress: Progress | None = None) -> MixContact:
        """The contact for a mixer's recipes."""
        with self._lock:
            if self._made is None or self._made.head is not mixer.head:
                self._made = MixContact(mixer, progress)
            elif self._made.mixer is not mixer:
                self._made = self._made.again(mixer)
            return self._made

    def at_hand(self, mixer: Mixer) -> MixContact | None:
        """The same where nothing has to be made for it."""
        made = self._made
        return self.of(mixer) if made is not None and made.head is mixer.head else None
