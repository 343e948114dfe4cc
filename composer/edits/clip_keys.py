"""The keys of a clip: set, moved, copied, stretched, deleted, and how they go on. Each function gives another clip.

Keys that come to lie on a frame lie on it exactly, so that the frame is what the key says. A key that comes to lie on
another one of the same thing takes its place. A clip of a file has no keys, and is refused.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from composer.document.project import Project
from composer.edits.clips import add_clip, replace_clip
from composer.edits.names import free_name
from composer.errors import MoueError
from composer.mixing.clip import NEUTRAL, SAME_TIME, Clip, Key
from composer.mixing.curve import Interpolation
from composer.mixing.recipe import Recipe

NEW_SECONDS = 2.0
"""The length of a new clip. A design choice, no source."""
ON_FRAME = 1e-3
"""A time this near to a frame, as a share of one, lies on it."""


def new_clip(project: Project, recipe: Recipe | None = None) -> tuple[Project, str]:
    """The project with another clip that begins with the face at rest, and its name; it joins and keeps contact as the
    recipe does."""
    taken = [clip.name for clip in project.clips]
    name = free_name("clip", taken) if "clip" in taken else "clip"
    clip = Clip(name, length=NEW_SECONDS, keys=(Key(0.0, NEUTRAL, interpolation="smooth"),))
    if recipe is not None:
        clip = clip.with_(join=recipe.join, halo=recipe.halo, contact=recipe.contact)
    return add_clip(project, clip), name


def with_clip_keys(project: Project, name: str, keys: Sequence[Key]) -> Project:
    """The project with keys set in a clip, as `set_keys`."""
    return replace_clip(project, name, set_keys(project.clip(name), keys))


def set_keys(clip: Clip, keys: Sequence[Key]) -> Clip:
    """Keys set, in the place of those of the same thing at the same time. Raises MoueError as `Clip`."""
    _check_keyed(clip)
    taken = {_spot(key) for key in keys}
    return clip.with_(keys=(*(key for key in clip.keys if _spot(key) not in taken), *keys))


def without_keys(clip: Clip, keys: Collection[Key]) -> Clip:
    """The clip without some keys."""
    _check_keyed(clip)
    return clip.with_(keys=tuple(key for key in clip.keys if key not in keys))


def going_on(clip: Clip, keys: Collection[Key], kind: Interpolation) -> tuple[Clip, list[Key]]:
    """The clip in which some keys go on to the next in another way, and those keys."""
    return _changed(clip, keys, {key: replace(key, interpolation=kind) for key in keys})


def moved_keys(clip: Clip, keys: Collection[Key], frames: int, copied: bool = False) -> tuple[Clip, list[Key]]:
    """The clip with some keys moved by a number of frames, or `copied` there, and the keys where they are now. They
    stay inside the clip, and keep their distances."""
    if not keys:
        return clip, []
    length, first, last = clip.length or 0.0, min(key.time for key in keys), max(key.time for key in keys)
    by = min(max(frames / clip.fps, -first), length - last)
    there = {key: replace(key, time=on_frame(clip, key.time + by)) for key in keys}
    if copied:
        new = [key for old, key in there.items() if key != old]
        return set_keys(clip, new), new
    return _changed(clip, keys, there)


def stretched_keys(clip: Clip, keys: Collection[Key], about: float, factor: float) -> tuple[Clip, list[Key]]:
    """The clip with some keys at `factor` times their distance from the time `about`, s, and the keys where they are
    now: on frames, where that does not bring two of one thing together. They stay inside the clip.

    Raises MoueError where two of one thing would lie at one time.
    """
    length = clip.length or 0.0
    times = {key: min(max(about + (key.time - about) * factor, 0.0), length) for key in keys}
    on_frames = {key: replace(key, time=min(round(time * clip.fps) / clip.fps, length)) for key, time in times.items()}
    there = {key: replace(key, time=time) for key, time in times.items()}
    if len({_spot(key) for key in on_frames.values()}) == len(keys):
        there = on_frames
    elif len({_spot(key) for key in there.values()}) < len(keys):
        raise MoueError(f"clip {clip.name!r}: keys of one thing would lie at one time", hint="stretch them less")
    return _changed(clip, keys, there)


def pasted_keys(clip: Clip, keys: Collection[Key], time: float) -> tuple[Clip, list[Key]]:
    """The clip with keys set so that the first of them lies at a time, s, and those keys; what would lie beyond the end
    is left out."""
    first = min((key.time for key in keys), default=0.0)
    inside = [key for key in keys if key.time - first + time <= (clip.length or 0.0) + SAME_TIME]
    there = [replace(key, time=on_frame(clip, key.time - first + time)) for key in inside]
    return set_keys(clip, there), there


def on_frame(clip: Clip, time: float) -> float:
    """A time, s, exactly on the frame that it is next to; else as it is."""
    number = round(time * clip.fps)
    near = abs(time * clip.fps - number) < ON_FRAME
    return min(number / clip.fps if near else time, clip.length or 0.0)


def _changed(clip: Clip, keys: Collection[Key], there: dict[Key, Key]) -> tuple[Clip, list[Key]]:
    """The clip with other keys in the place of some; others of the same thing and time as these go."""
    _check_keyed(clip)
    taken = {_spot(key) for key in there.values()}
    kept = [there.get(key, key) for key in clip.keys if key in there or _spot(key) not in taken]
    return clip.with_(keys=tuple(kept)), [there[key] for key in clip.keys if key in there]


def _spot(key: Key) -> tuple[object, ...]:
    return (*key.thing, round(key.time / SAME_TIME))


def _check_keyed(clip: Clip) -> None:
    if clip.file:
        raise MoueError(f"clip {clip.name!r} has its weights in {clip.file}", hint="its keys are made there")
