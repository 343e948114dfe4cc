"""The frames of a sequence as faces of a head: in mm, upright, checked for their topology and their size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.edits.sculpt import OTHER_SIZE
from composer.errors import MoueError
from composer.formats.frame_sequence import FrameSequence
from composer.formats.registry import axes_in
from composer.head.head import Head
from composer.units import MM_PER_UNIT, mm_per


class HeadFrames:
    """The frames of `sequence` on `head`; `times` (f,) are seconds, those of the file, or even ones at `fps`."""

    def __init__(self, head: Head, sequence: FrameSequence, unit: str | None = None, fps: float | None = None) -> None:
        """`unit` is that of files that do not say theirs, by default the head's. Raises MoueError where the frames are
        of another topology, and where there are fewer than two."""
        self.head, self.sequence = head, sequence
        n, has = head.n_vertices, sequence.mesh.n_vertices
        if has != n:
            raise MoueError(f"has {has:,} vertices, the head {n:,}: two topologies", sequence.path)
        if not head.polygons.same_as(sequence.mesh.polygons):
            hint = "moue reorder brings one order of vertices into another"
            raise MoueError("has other polygons than the head: two topologies", sequence.path, hint=hint)
        if sequence.n_frames < 2:
            hint = "one face is matched without --clip: moue match HEAD FILE --to FILE.moue"
            raise MoueError("holds one frame; a clip needs two", sequence.path, hint=hint)
        self.unit = unit or sequence.mesh.unit or head.unit
        self._scale = mm_per(self.unit)
        named = sequence.path if sequence.path.suffix else sequence.path / sequence.names[0]
        self._axes = axes_in(head, named)
        step = 1.0 / (fps or 24.0)
        said = sequence.times if fps is None else None
        times = step * np.arange(sequence.n_frames) if said is None else said - said[0]
        self.times: NDArray[np.float64] = np.asarray(times, dtype=np.float64)
        self.fps = _round(1.0 / float(np.median(np.diff(self.times))))

    def __len__(self) -> int:
        return self.sequence.n_frames

    def __iter__(self) -> Iterator[NDArray[np.float64]]:
        """The vertices (n, 3) mm of one frame after the other. Raises MoueError, with the frame, where one cannot be
        used or has another size than the head."""
        size = _size(self.head.neutral)
        for name, frame in zip(self.sequence.names, self.sequence.frames(), strict=True):
            points = self._axes.from_files(frame) * self._scale
            ratio = _size(points) / size if size > 0.0 else 1.0
            if abs(ratio - 1.0) > OTHER_SIZE:
                raise self._wrong_size(name, ratio)
            yield points

    def _wrong_size(self, name: str, ratio: float) -> MoueError:
        fits = [unit for unit, mm in MM_PER_UNIT.items() if abs(ratio * mm / self._scale - 1.0) <= OTHER_SIZE]
        hint = f"is it in {fits[0]}? say --unit {fits[0]}" if fits else "scale the frames as the head is"
        return MoueError(f"{name} is {ratio:.3g} times as large as the head", self.sequence.path, hint=hint)


def _size(points: NDArray) -> float:
    """The root mean square distance from the middle, which no turn changes."""
    return float(np.sqrt(np.mean(np.square(points - points.mean(axis=0)))))


def _round(fps: float) -> float:
    """A rate without the rounding of its times."""
    near = round(fps, 3)
    return float(round(near)) if abs(near - round(near)) < 2e-3 else near
