"""A clip against frames that are there: how far every vertex of every frame lies from where the clip has it.

The frames may be of any level of the head: their number of vertices says which. Files that give no times have the
clip's frames in order; files that do are posed at their own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated_clip import EvaluatedClip
from composer.document.evaluated_level import EvaluatedLevel
from composer.errors import MoueError
from composer.formats.frame_sequence import FrameSequence, missing_words
from composer.formats.registry import axes_in
from composer.head.levels import HIGHEST_LEVEL, vertex_count
from composer.mixing.recipe import Recipe
from composer.progress import Progress
from composer.units import mm_per


@dataclass(frozen=True)
class FrameOff:
    """A frame: its `number` and `time` in seconds, and how far it is off: the mean and the largest distance in mm over
    all vertices, and at which `vertex`."""

    number: int
    time: float
    mean_mm: float
    worst_mm: float
    vertex: int


@dataclass(frozen=True, eq=False)
class ClipAgainst:
    """A clip compared with `sequence`, whose vertices are those of the head at `level` and were taken in `unit`."""

    clip: EvaluatedClip
    sequence: FrameSequence
    level: int
    unit: str
    frames: tuple[FrameOff, ...]

    @property
    def worst(self) -> FrameOff:
        """The frame that is furthest off."""
        return max(self.frames, key=lambda frame: frame.worst_mm)

    def further(self, mm: float) -> list[FrameOff]:
        """The frames that are further off than this, in order."""
        return [frame for frame in self.frames if frame.worst_mm > mm]

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return {
            "path": str(self.sequence.path), "level": self.level, "unit": self.unit,
            "frames": [
                {"frame": f.number, "time": f.time, "mean_mm": f.mean_mm, "worst_mm": f.worst_mm, "vertex": f.vertex}
                for f in self.frames
            ],
        }  # fmt: skip


def clip_against(
    clip: EvaluatedClip, sequence: FrameSequence, unit: str | None = None, progress: Progress | None = None
) -> ClipAgainst:  # fmt: skip
    """Compare a clip with frames, in `unit`, else what their file says, else the head's own.

    Raises MoueError where they are of another topology than the head, of other times than the clip, a frame is missing
    at the end, or one cannot be used.
    """
    level = EvaluatedLevel(clip.evaluated, _level_of(clip, sequence))
    if not level.head.polygons.same_as(sequence.mesh.polygons):
        hint = "moue reorder brings one order of vertices into another"
        raise MoueError("has other polygons than the head: two topologies", sequence.path, hint=hint)
    recipes, times = _recipes(clip, sequence)
    unit = unit or sequence.mesh.unit or clip.evaluated.head.unit
    scale = mm_per(unit)
    named = sequence.path if sequence.path.suffix else sequence.path / sequence.names[0]
    axes = axes_in(level.head, named)
    found = []
    for number, frame in enumerate(sequence.frames()):
        if progress is not None:
            progress(number / sequence.n_frames, f"frame {number + 1} of {sequence.n_frames}")
        away = axes.from_files(frame) * scale - level.pose(recipes(number))
        far = np.sqrt(np.einsum("ij,ij->i", away, away))
        at = int(np.argmax(far))
        found.append(FrameOff(number, float(times[number]), float(far.mean()), float(far[at]), at))
    return ClipAgainst(clip, sequence, level.level, unit, tuple(found))


def _level_of(clip: EvaluatedClip, sequence: FrameSequence) -> int:
    polygons, n = clip.evaluated.head.polygons, sequence.mesh.n_vertices
    for level in range(HIGHEST_LEVEL + 1):
        count = vertex_count(polygons, level)
        if count == n:
            return level
        if count > n:
            break
    what = f"has {n:,} vertices, the head {polygons.n_vertices:,}, and at no level as many"
    raise MoueError(f"{what}: two topologies", sequence.path)


def _recipes(
    clip: EvaluatedClip, sequence: FrameSequence
) -> tuple[Callable[[int], Recipe], NDArray[np.float64]]:  # fmt: skip
    """The recipe of each frame of a sequence, and its time in the clip."""
    name, n, times = clip.clip.name, sequence.n_frames, sequence.times
    if n == clip.n_frames:
        if times is not None:
            off = (times - times[0]) - (clip.times - clip.times[0])
            if np.abs(off).max() > 0.5 / clip.clip.fps:
                what = f"lasts {times[-1] - times[0]:.3g} s, clip {name} {clip.length:.3g} s"
                raise MoueError(what, sequence.path, hint="give the clip the fps of the frames")
        return clip.frame, clip.times
    if times is None:
        what = f"has {n} frames, clip {name} has {clip.n_frames}"
        gone = missing_words(range(n, clip.n_frames)) if n < clip.n_frames else "there are more than the clip has"
        raise MoueError(f"{what}: {gone}", sequence.path)
    late = float(times[-1] - clip.times[-1])
    if late > 0.5 / clip.clip.fps:
        raise MoueError(f"has a frame at {times[-1]:.3g} s, clip {name} ends at {clip.times[-1]:.3g} s", sequence.path)
    return (lambda number: clip.recipe(float(times[number]))), times
