"""What the pointer does in the lane: it scrubs, picks keys, and moves, copies, stretches or weighs what is picked.

Everything that is dragged is a preview of the document until the release makes one step of it; Escape takes it back.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Literal

from imgui_bundle import imgui

from composer.document.evaluated_clip import EvaluatedClip
from composer.document.project import Project
from composer.edits.clip_keys import moved_keys, set_keys, stretched_keys
from composer.edits.clips import replace_clip
from composer.mixing.clip import Clip, Key
from composer.mixing.recipe import WEIGHT_RANGE
from composer.viewer.panels.time_strip.lane import Lane
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip

FAR_PX = 4.0
"""A press that moves less than this is a click."""


@dataclass
class Held:
    """A drag in the lane: `kind`; the keys that it began with; where (window points) and when it began; the time that
    stays where keys are stretched; `last` what was previewed, so that the same is not previewed twice."""

    kind: Literal["time", "keys", "stretch", "pick"]
    keys: frozenset[Key]
    x: float
    y: float
    time: float
    stays: float = 0.0
    moved: bool = False
    weighs: bool = False
    last: object = None


@dataclass
class LaneHand:
    """The drag under way, None where there is none; whether the strip was pressed last (`at_hand`), so that keys for
    copying and deleting are meant for it; the keys that were `copied`."""

    drag: Held | None = None
    at_hand: bool = False
    copied: tuple[Key, ...] = ()

    def press(
        self, strip: TimeStrip, lane: Lane, key: Key | None, grip: tuple[float, float] | None, on_curve: bool
    ) -> None:  # fmt: skip
        """The button goes down: on a key, on a grip (the time that it moves and the one that stays), or beside them;
        `on_curve` says that the key may be weighed, too."""
        io = imgui.get_io()
        x, y = io.mouse_pos.x, io.mouse_pos.y
        if grip is not None:
            self.drag = Held("stretch", strip.picked, x, y, grip[0], stays=grip[1])
        elif key is not None:
            if io.key_shift:
                strip.picked = strip.picked ^ {key}
            elif key not in strip.picked:
                strip.picked = frozenset({key})
            self.drag = Held("keys", strip.picked, x, y, key.time, weighs=on_curve and strip.picked == {key})
        else:
            strip.picked = strip.picked if io.key_shift else frozenset()
            self.drag = Held("pick" if io.key_shift else "time", strip.picked, x, y, lane.time(x))

    def move(self, stage: Stage, strip: TimeStrip, lane: Lane, weigh: Callable[[float], float]) -> None:
        """The pointer moves, or stands, with the button down; `weigh` gives the weight at a height."""
        drag, io = self.drag, imgui.get_io()
        if drag is None:
            return
        x, y = io.mouse_pos.x, io.mouse_pos.y
        drag.moved = drag.moved or max(abs(x - drag.x), abs(y - drag.y)) >= FAR_PX
        if drag.kind == "time":
            strip.go_to_time(stage, lane.time(x))
        elif drag.kind == "pick":
            low, high = sorted((drag.time, lane.time(x)))
            inside = {key for key in strip.clip_keys if low <= key.time <= high}
            strip.picked = drag.keys | inside
        elif drag.moved and drag.keys:
            self._preview(stage, strip, lane, x, y, weigh)

    def _preview(
        self, stage: Stage, strip: TimeStrip, lane: Lane, x: float, y: float, weigh: Callable[[float], float]
    ) -> None:
        drag, session, name = self.drag, stage.opened, strip.name
        assert drag is not None and strip.made is not None
        base = next(clip for clip in session.history.committed.clips if clip.name == name)
        if drag.kind == "stretch":
            whole = drag.time - drag.stays
            wanted: object = round(lane.time(x) * base.fps)
            factor = (round(lane.time(x) * base.fps) / base.fps - drag.stays) / whole
            change = lambda: stretched_keys(base, drag.keys, drag.stays, factor)  # noqa: E731
        else:
            frames = round((lane.time(x) - lane.time(drag.x)) * base.fps)
            weight = weigh(y) if drag.weighs and abs(y - drag.y) >= FAR_PX else None
            copied = bool(imgui.get_io().key_ctrl)
            wanted = (frames, weight, copied)
            change = lambda: _moved(base, drag.keys, frames, weight, copied)  # noqa: E731
        if wanted == drag.last:
            return
        drag.last = wanted

        def preview() -> None:
            clip, keys = change()
            check_usable(stage, clip)
            session.preview(lambda project: replace_clip(project, name, clip))
            strip.picked = frozenset(keys)

        stage.guard(preview)

    def release(self, stage: Stage, strip: TimeStrip) -> None:
        """The button goes up: one step of what was previewed; a click on a key goes to its time."""
        drag, self.drag = self.drag, None
        if drag is None:
            return
        if stage.opened.previewing:
            stage.guard(stage.opened.commit)
        elif drag.kind == "keys" and not drag.moved:
            strip.go_to_time(stage, drag.time)

    def abandon(self, stage: Stage, strip: TimeStrip) -> None:
        """Escape: as before the press."""
        drag, self.drag = self.drag, None
        if drag is not None and drag.kind in ("keys", "stretch"):
            stage.opened.abort()
            strip.picked = drag.keys


def _moved(
    base: Clip, keys: Collection[Key], frames: int, weight: float | None, copied: bool
) -> tuple[Clip, list[Key]]:
    """Keys moved by frames, and one that is weighed with its weight."""
    if weight is None or len(keys) != 1:
        return moved_keys(base, keys, frames, copied)
    (key,) = keys
    low, high = WEIGHT_RANGE
    weighed = replace(key, weight=min(max(round(weight, 2), low), high))
    clip = set_keys(base, [weighed])
    return moved_keys(clip, [weighed], frames, copied) if frames else (clip, [weighed])


def check_usable(stage: Stage, clip: Clip) -> None:
    """Raises MoueError where a clip could not be played: then it is not taken, and stays as it was."""
    EvaluatedClip(stage.opened.evaluated, clip)


def change_keys(
    stage: Stage, strip: TimeStrip, change: Callable[[Clip], tuple[Clip, list[Key]]], words: str = ""
) -> bool:  # fmt: skip
    """Change the clip that is shown as one step, and pick the keys that come of it; whether it was done."""
    name = strip.name
    picked: list[Key] = []

    def edit(project: Project) -> Project:
        clip, keys = change(project.clip(name))
        check_usable(stage, clip)
        picked[:] = keys
        return replace_clip(project, name, clip)

    done = stage.do(edit, words)
    if done:
        strip.picked = frozenset(picked)
    return done
