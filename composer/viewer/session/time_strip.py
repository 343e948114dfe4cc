"""The strip of time: which clip it shows, the frame at which time stands, and playing at the clip's rate.

Time never waits for the picture: frames that could not be drawn are left out and counted. The face shows the clip while
it plays and is scrubbed; an edit of the open recipe, or the choice of another one, brings the recipe back.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor

import numpy as np

from composer.document.evaluated_clip import EvaluatedClip
from composer.errors import MoueError
from composer.mixing.clip import Key
from composer.mixing.recipe import Recipe
from composer.viewer.session.clip_on_face import ClipOnFace
from composer.viewer.session.clip_sound import ClipSound, sound_beside
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying


@dataclass
class TimeStrip:
    """`name` of the clip; the `frame` at which time stands; whether it is `running` and begins again at the end
    (`loop`); whether `ghosts` are drawn, and it is
    `silent`; whether the face shows the clip (`seen`); frames `shown` and `dropped`
    since it began to play; the keys that are `picked`."""

    name: str = ""
    frame: int = 0
    running: bool = False
    loop: bool = True
    ghosts: bool = False
    seen: bool = False
    shown: int = 0
    dropped: int = 0
    picked: frozenset[Key] = frozenset()
    face: ClipOnFace = field(default_factory=ClipOnFace)
    sound: ClipSound = field(default_factory=lambda: ClipSound(None))
    silent: bool = False
    _began: float = 0.0
    _first: int = 0
    _ticks: int = 0
    _posed: int = -1
    _left_for: tuple[Recipe, str] | None = None

    @property
    def made(self) -> EvaluatedClip | None:
        """The clip, ready to be posed; None where there is none, or it cannot be used."""
        return self.face.made

    @property
    def clip_keys(self) -> tuple[Key, ...]:
        """The keys of the clip."""
        return () if self.made is None else self.made.clip.keys

    @property
    def made_of_file(self) -> bool:
        """Whether the clip has its weights in a file, and no keys."""
        return self.made is not None and bool(self.made.clip.file)

    @property
    def time(self) -> float:
        """The time of the frame, s."""
        return 0.0 if self.made is None else float(self.made.times[self.frame])

    @property
    def recipe(self) -> Recipe | None:
        """The recipe that the face shows; None while it shows no clip."""
        return self.made.frame(self.frame) if self.seen and self.made is not None else None

    # What a person does.

    def play(self, stage: Stage) -> None:
        """Play from where time stands, from the beginning where that is the end."""
        made = self.made
        if made is None or made.n_frames < 2:
            return
        if self.frame >= made.n_frames - 1:
            self.frame = 0
        self.running, self.seen = True, True
        self.shown = self.dropped = 0
        self._begin(stage)

    def stop(self) -> None:
        """Stand still."""
        self.running = False
        self.sound.stop()

    def go(self, stage: Stage, frame: int) -> None:
        """Go to a frame, and show the clip there; while it plays it goes on from there."""
        if self.made is None:
            return
        self.frame, self.seen = int(np.clip(frame, 0, self.made.n_frames - 1)), True
        if self.running:
            self._begin(stage)

    def go_to_time(self, stage: Stage, time: float) -> None:
        """Go to the frame nearest to a time in seconds."""
        if self.made is not None:
            self.go(stage, self.frame_at(time))

    def frame_at(self, time: float) -> int:
        """The frame nearest to a time in seconds."""
        return 0 if self.made is None else int(np.argmin(np.abs(self.made.times - time)))

    def show(self, name: str) -> None:
        """Show another clip from its beginning."""
        self.stop()
        self.name, self.frame, self.picked, self._posed = name, 0, frozenset(), -1

    def leave(self, session: Session) -> None:
        """Stop, and show the open recipe again."""
        self.stop()
        if self.seen:
            self.seen, self._posed = False, -1
            session.show(None)

    # A frame of the window.

    def step(self, stage: Stage, trying: Trying) -> bool:
        """Follow the document, and move on; whether it plays."""
        session = stage.opened
        if not stage.time_shown or stage.place != "mix":
            self.leave(session)
            return False
        changed = self._follow(stage)
        if trying.trial is not None or trying.found is not None:
            self.stop()
            self.seen, self._posed = False, -1
            return False
        if trying.peeking:
            self._posed = -1
            return self.running
        now = (session.recipe, session.recipe_name)
        if self.seen and self._left_for is not None and not _same(now, self._left_for):
            self.leave(session)
        self._left_for = now
        if self.running:
            self._advance(stage)
        if self.seen and self.made is not None and (changed or self._posed != self.frame):
            session.show(self.face.pose(self.made.frame(self.frame)))
            self._posed = self.frame
        return self.running

    def due(self, stage: Stage) -> bool:
        """Whether it is time for another frame than the one that was shown last."""
        return self.running and self.made is not None and self._ticks_now(stage, self.made) != self._ticks

    def _ticks_now(self, stage: Stage, made: EvaluatedClip) -> int:
        """Frames since it began to play."""
        return floor((stage.clock() - self._began) * made.clip.fps + 1e-6)

    def _follow(self, stage: Stage) -> bool:
        names = [clip.name for clip in stage.opened.project.clips]
        if self.name not in names:
            self.show(names[0] if names else "")
        changed = self.face.follow(stage, self.name)
        if changed:
            self._find_sound(stage)
        if self.made is None:
            self.leave(stage.opened)
            self.frame = 0
        elif changed:
            self.frame = min(self.frame, self.made.n_frames - 1)
            self.picked &= frozenset(self.made.clip.keys)
        return changed

    def _find_sound(self, stage: Stage) -> None:
        """The WAV of the clip, where there is another one than before."""
        made, path = self.made, None
        if made is not None:
            try:
                path = sound_beside(stage.opened.project, made.clip)
            except MoueError as error:
                stage.say(str(error), "wrong")
        if path != self.sound.path:
            self.sound.close()
            self.sound = ClipSound(path)
            if self.sound.fault:
                stage.say(self.sound.fault, "wrong")

    def hush(self, silent: bool) -> None:
        """Play without the sound, or with it again."""
        self.silent = silent
        if silent:
            self.sound.stop()
        elif self.running:
            self.sound.play(self.time)

    def _begin(self, stage: Stage) -> None:
        self._began, self._first, self._ticks = stage.clock(), self.frame, 0
        if not self.silent:
            self.sound.play(self.time)

    def _advance(self, stage: Stage) -> None:
        """Go to the frame whose time it is."""
        made = self.made
        assert made is not None
        ticks = self._ticks_now(stage, made)
        if ticks == self._ticks:
            return
        self.dropped += ticks - self._ticks - 1
        self.shown += 1
        self._ticks = ticks
        last = made.n_frames - 1
        at = self._first + ticks
        if at > last and not self.loop:
            self.frame = last
            self.stop()
            return
        self.frame = at % last
        self.sound.keep_step(self.time)


def _same(one: tuple[Recipe, str], other: tuple[Recipe, str]) -> bool:
    return one[0] is other[0] and one[1] == other[1]
