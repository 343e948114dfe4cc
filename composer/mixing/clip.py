"""A clip: weights over time, from keys on recipes and cells, or from a file of animation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import floor, isfinite
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, nearest, shorten
from composer.mixing.curve import INTERPOLATIONS, Interpolation
from composer.mixing.recipe import HALO, WEIGHT_RANGE, CellKey

NEUTRAL = "neutral"
"""The name by which a key of a pose asks for the face at rest; no recipe has it."""
FPS_RANGE = (1.0, 1000.0)
"""Frames a second: from a slide show to a camera for slow motion. A design choice, no source."""
LONGEST = 3600.0
"""The longest clip in seconds. A design choice, no source."""
MOST_FRAMES = 100_000
"""The most frames of a clip; a safety limit."""
SAME_TIME = 1e-9
"""Times in seconds that are as near as this are one: rounding of decimals."""


@dataclass(frozen=True)
class Key:
    """What holds at a `time` in seconds, and how it goes on to the next key of the same thing.

    With `recipe` alone the whole pose goes to that recipe ("neutral" is the face at rest); with `recipe` and `weight`
    that recipe comes in by a weight of its own, beside whatever else there is; with `region` and `shape` that cell has
    the `weight`.
    """

    time: float
    recipe: str = ""
    weight: float | None = None
    region: str = ""
    shape: str = ""
    mirrored: bool = False
    interpolation: Interpolation = "linear"

    @property
    def cell(self) -> CellKey | None:
        """The key of the cell that it is about, if it is about one."""
        return None if self.recipe else (self.region, self.shape, self.mirrored)

    @property
    def thing(self) -> tuple[object, ...]:
        """What it is about: keys of one thing make one curve."""
        return ("cell", self.cell) if self.cell else ("pose",) if self.weight is None else ("recipe", self.recipe)

    @property
    def words(self) -> str:
        """What it is about, for errors."""
        what = f"recipe {self.recipe!r}" if self.recipe else f"{self.region} x {self.shape}"
        return shorten(what, 60)


@dataclass(frozen=True)
class Clip:
    """Keys, or the `file` beside the document that holds the weights; with a file, `length` is the file's.

    `fps` are frames a second, `length` seconds; `join`, `halo` and `contact` are as recipes have them. `rename` says
    what names in the file are called in the document: a column by its whole name, or a region by its name and a slash;
    one that became several is called by all their names.
    Raises MoueError for numbers out of range, keys outside the clip, two keys of one thing at one time, and a clip that
    has both keys and a file or neither.
    """

    name: str
    fps: float = 24.0
    length: float | None = None
    keys: tuple[Key, ...] = ()
    file: str = ""
    rename: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)
    join: Literal["linear", "seamless"] = "linear"
    halo: float = HALO
    contact: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        if not (isfinite(self.fps) and FPS_RANGE[0] <= self.fps <= FPS_RANGE[1]):
            low, high = FPS_RANGE
            raise self._wrong(f"has {self.fps:g} frames a second", f"give fps from {low:g} to {high:g}")
        if not 0.0 <= self.halo <= 1.0:
            raise self._wrong(f"has a halo of {self.halo:g}, not in [0, 1]", "0 forbids it")
        if self.file and self.keys:
            raise self._wrong("has keys and a file", "keep one of the two")
        if self.length is None and not self.file:
            raise self._wrong("has no length", "give length in seconds, above 0")
        if self.length is not None:
            check_length(self.length, self.fps, f"clip {self.name!r}")
        self._check_keys()

    def _check_keys(self) -> None:
        known: set[tuple[object, ...]] = set()
        for key in self.keys:
            at = f"{key.words} at {key.time:g} s"
            if not isfinite(key.time) or not -SAME_TIME <= key.time <= (self.length or 0.0) + SAME_TIME:
                raise self._wrong(f"has a key of {at}", f"it lasts from 0 to {self.length:g} s")
            if bool(key.recipe) == bool(key.region or key.shape) or bool(key.region) != bool(key.shape):
                what = f"has a key at {key.time:g} s that names no one thing"
                raise self._wrong(what, "give a recipe, or a region and a shape")
            if key.weight is None and not key.recipe:
                raise self._wrong(f"has a key of {at} without a weight")
            if key.weight is not None and not WEIGHT_RANGE[0] <= key.weight <= WEIGHT_RANGE[1]:
                raise self._wrong(f"has a key of {at} of weight {key.weight:g}, not in [-1, 2]")
            if key.recipe == NEUTRAL and key.weight is not None:
                raise self._wrong(f"has a key of 'neutral' at {key.time:g} s with a weight", "leave the weight out")
            if key.interpolation not in INTERPOLATIONS:
                near = nearest(key.interpolation, INTERPOLATIONS)
                raise self._wrong(f"has no interpolation {shorten(repr(key.interpolation), 40)}", near)
            same = (*key.thing, round(key.time / SAME_TIME))
            if same in known:
                what = at if key.weight is not None else f"the pose at {key.time:g} s"
                raise self._wrong(f"has two keys of {what}")
            known.add(same)

    def _wrong(self, what: str, hint: str | None = None) -> MoueError:
        return MoueError(f"clip {shorten(repr(self.name), 60)} {what}", hint=hint)

    @property
    def recipes(self) -> list[str]:
        """Names of the recipes that its keys use, each once, without the face at rest."""
        return list(dict.fromkeys(key.recipe for key in self.keys if key.recipe not in ("", NEUTRAL)))

    @property
    def cells(self) -> list[CellKey]:
        """The cells that its keys use by themselves, each once."""
        return list(dict.fromkeys(key.cell for key in self.keys if key.cell is not None))

    def with_(self, **changes: object) -> Clip:
        """A clip with some fields replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]


def check_length(length: float, fps: float, what: str) -> None:
    """Raises MoueError, naming `what`, for a length in seconds that no clip has, or that gives too many frames."""
    if not isfinite(length) or not 0.0 < length <= LONGEST:
        raise MoueError(f"{what} has a length of {length:g} s", hint=f"give one above 0, up to {LONGEST:g} s")
    if length * fps + 1.0 > MOST_FRAMES:
        frames = f"{floor(length * fps) + 1:,}"
        raise MoueError(f"{what} has {frames} frames, more than {MOST_FRAMES:,}", hint="give a smaller fps, or cut it")


def frame_times(length: float, fps: float, start: float = 0.0) -> NDArray[np.float64]:
    """(f,) the times of the frames in seconds: from `start` every 1/fps, both ends included.

    Where the length is no whole number of frames the last step is shorter.

    >>> len(frame_times(1.0, 24.0)), frame_times(0.5, 4.0).tolist(), frame_times(0.3, 4.0).tolist()
    (25, [0.0, 0.25, 0.5], [0.0, 0.25, 0.3])
    """
    whole = floor(length * fps + 1e-6)
    times = start + np.arange(whole + 1) / fps
    end = start + length
    if end - times[-1] > 1e-6 / fps:
        return np.append(times, end)
    times[-1] = end
    return times
