"""Every check on every frame of a clip, and what is told of it: each fault once, at its worst frame.

Frames are checked side by side on the processor's cores. A fault that lasts is one fault: it is told where it is worst,
with the time from which to which it is there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from composer.checks.checked import Checked
from composer.checks.clip_pops import bend_at, leaps_in, pops_from
from composer.checks.empty import EMPTY
from composer.checks.finding import SEVERITIES, Finding
from composer.checks.of_document import broken, subject_of
from composer.checks.places import located
from composer.checks.registry import CHECKS, located_checks
from composer.checks.subject import HeadFacts
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.morph_clip import largest_weights
from composer.document.moving_clip import MovingClip
from composer.document.over_cores import over_cores
from composer.errors import MoueError
from composer.progress import Progress

FULL = tuple(check for check in CHECKS if check is not EMPTY)
"""The checks of a frame. Cells that move nothing are looked for once, at the largest weight that each has in the clip:
at rest, and as it comes in, a cell may well move nothing."""


@dataclass(frozen=True, eq=False)
class Lasting:
    """A fault of a clip: the `finding` at its `worst` frame, and all `frames` (k,) at which it is there, rising."""

    finding: Finding
    worst: int
    frames: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class ClipChecked:
    """A checked clip: the findings of every frame (f lists), and its faults, worst first."""

    clip: EvaluatedClip
    frames: Sequence[Sequence[Finding]]
    faults: tuple[Lasting, ...]

    @property
    def grave(self) -> list[Lasting]:
        """The faults that are more than notes."""
        return [one for one in self.faults if one.finding.severity != "note"]

    def worst_frames(self, most: int) -> list[int]:
        """At most so many frames, the worst first: those at which a grave fault is at its worst."""
        return list(dict.fromkeys(one.worst for one in self.grave))[:most]

    def checked(self) -> list[Checked]:
        """Each frame at which some fault is at its worst, with its pose and those faults, for a report."""
        by_frame: dict[int, list[Finding]] = {}
        for one in self.faults:
            by_frame.setdefault(one.worst, []).append(self.told(one))
        clip = self.clip
        return [
            Checked(self.name_of(number), clip.evaluated.pose(clip.frame(number)), found, "frame", clip.frame(number))
            for number, found in sorted(by_frame.items())
        ]

    def name_of(self, number: int) -> str:
        """A frame by the clip's name and its time."""
        return f"{self.clip.clip.name} at {self.clip.times[number]:.2f} s"

    def told(self, one: Lasting) -> Finding:
        """The finding of a fault, with how long it lasts in its words."""
        first, last = one.frames[0], one.frames[-1]
        if first == last or one.finding.severity == "note":
            return one.finding
        whole = len(one.frames) == last - first + 1
        lasts = f"from {self.clip.times[first]:.2f} to {self.clip.times[last]:.2f} s" if whole else (
            f"in {len(one.frames)} frames between {self.clip.times[first]:.2f} and {self.clip.times[last]:.2f} s"
        )  # fmt: skip
        return replace(one.finding, words=f"{one.finding.words} ({lasts})")

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        times = self.clip.times
        return {
            "clip": self.clip.clip.name, "frames": self.clip.n_frames, "fps": self.clip.clip.fps,
            "faults": [
                {**one.finding.as_dict(), "time": float(times[one.worst]), "frame": one.worst,
                 "from": float(times[one.frames[0]]), "to": float(times[one.frames[-1]]), "lasts": len(one.frames)}
                for one in self.faults
            ],
        }  # fmt: skip


def check_clip(
    clip: EvaluatedClip, progress: Progress | None = None, workers: int | None = None
) -> ClipChecked:  # fmt: skip
    """Run every check on every frame of a clip, and look for pops between frames; `workers` cores, all by default."""
    limits = HeadFacts(clip.evaluated.head).limits
    fullest = int(np.argmax(np.abs(clip.weights).sum(axis=1))) if clip.cells else 0
    clip.evaluated.pose(clip.frame(fullest))  # what joins and contact prepare is made here, and shared by the workers
    looked = over_cores(lambda: _looker(clip), clip.n_frames, words="frame", progress=progress, workers=workers)
    frames = [list(found) for found, _ in looked]
    for number, pop in pops_from([bend for _, bend in looked], limits).items():
        pose = clip.evaluated.pose(clip.frame(number))
        subject = subject_of(clip.evaluated, HeadFacts(clip.evaluated.head), clip.frame(number), pose)
        frames[number].append(located(pop, subject))
    for number, leaps in leaps_in(clip).items():
        frames[number] += leaps
    frames[fullest] += _empty(clip)
    return ClipChecked(clip, frames, tuple(_lasting(frames)))


def _empty(clip: EvaluatedClip) -> list[Finding]:
    """What moves nothing at the largest weight of each cell."""
    recipe = clip.recipe_of(largest_weights(clip.weights))
    try:
        subject = subject_of(clip.evaluated, HeadFacts(clip.evaluated.head), recipe, clip.evaluated.pose(recipe))
    except MoueError as error:
        return [broken(error)]
    return located_checks(subject, (EMPTY,))


def _looker(clip: EvaluatedClip) -> Callable[[int], tuple[list[Finding], NDArray | None]]:
    """What looks at one frame: its findings, and how far the path bends there."""
    facts, moving = HeadFacts(clip.evaluated.head), None if clip.straight else MovingClip(clip)

    def look(number: int) -> tuple[list[Finding], NDArray | None]:
        recipe = clip.frame(number)
        try:
            subject = subject_of(clip.evaluated, facts, recipe, clip.evaluated.pose(recipe))
        except MoueError as error:
            return [broken(error)], None
        inside = 0 < number < clip.n_frames - 1
        return located_checks(subject, FULL), bend_at(clip, moving, number) if moving and inside else None

    return look


def _lasting(frames: Sequence[Sequence[Finding]]) -> list[Lasting]:
    """The faults of a clip, each once, worst first."""
    at: dict[tuple[str, str], list[tuple[int, Finding]]] = {}
    for number, found in enumerate(frames):
        for one in found:
            at.setdefault((one.code, one.where), []).append((number, one))
    lasting = []
    for held in at.values():
        number, worst = min(held, key=lambda entry: entry[1].rank)
        numbers = np.unique([number for number, _ in held])
        lasting.append(Lasting(worst, number, numbers))
    return sorted(lasting, key=lambda one: (SEVERITIES.index(one.finding.severity), -one.finding.value))
