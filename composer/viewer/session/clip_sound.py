"""The sound of a clip: a WAV beside its document, played in step with time where the machine has sound.

It is named after the clip (`tide.wav`), or after the clip's file (`talk.csv`, `talk.wav`). Time stays the window's own:
the sound is put right where it has run more than `OFF_SECONDS` away, so neither waits for the other.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from composer.document.project import Project
from composer.errors import MoueError
from composer.head.references import beside
from composer.mixing.clip import Clip

OFF_SECONDS = 0.08
"""Sound further off than this is put right: people notice sound that comes some 45 ms early or 125 ms late (ITU-R
BT.1359-1, 1998, annex 1)."""
MOST_BYTES = 512 << 20
"""The largest sound that is read into memory."""


def sound_beside(project: Project, clip: Clip) -> Path | None:
    """The WAV of a clip, where there is one. Raises MoueError where the document may not refer to it."""
    name = f"{Path(clip.file).with_suffix('.wav')}" if clip.file else f"{clip.name}.wav"
    return beside(name, project.path, f"the sound of clip {clip.name!r}")


class ClipSound:
    """The sound of one clip; `fault` says why there is none although there is a WAV."""

    def __init__(self, path: Path | None) -> None:
        self.path, self.fault = path, ""
        self._player: Any = None
        if path is None:
            return
        try:
            self._player = _player(path)
        except Exception as error:  # whatever pyglet or the machine's sound makes of it, the clip plays on
            reason = " ".join(str(error).split()) or type(error).__name__
            self.fault = f"{path.name} cannot be played ({reason})."

    @property
    def heard(self) -> bool:
        """Whether it can be played."""
        return self._player is not None

    @property
    def playing(self) -> bool:
        """Whether it plays now."""
        return self._player is not None and bool(self._player.playing)

    @property
    def time(self) -> float:
        """Where in the sound it is, s."""
        return 0.0 if self._player is None else float(self._player.time)

    def play(self, time: float) -> None:
        """Play from a time in seconds."""
        if self._player is not None:
            self._player.seek(max(time, 0.0))
            self._player.play()

    def keep_step(self, time: float) -> None:
        """Put the sound right where it is further off than `OFF_SECONDS` from a time in seconds."""
        if self.playing and abs(self._player.time - time) > OFF_SECONDS:
            self._player.seek(max(time, 0.0))

    def stop(self) -> None:
        """Be silent."""
        if self._player is not None:
            self._player.pause()

    def close(self) -> None:
        """Give the machine's sound back."""
        player, self._player = self._player, None
        if player is not None:
            with suppress(Exception):
                player.pause()
                player.delete()


def _player(path: Path) -> Any:
    """Something that plays a WAV from memory. Raises whatever pyglet raises for a file that is none."""
    import pyglet

    if path.stat().st_size > MOST_BYTES:
        raise MoueError(f"is larger than {MOST_BYTES >> 20} MiB", path)
    player = pyglet.media.Player()
    player.queue(pyglet.media.load(str(path), streaming=False))
    return player
