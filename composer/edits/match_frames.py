"""Matching a performance: frames of the head's topology become weights over time and the head's own motion.

The frames are read one after the other, never held. A first reading finds each frame's head motion and what the frame
gives every cell (`composer.mixing.match_rigid`). Then the cells are chosen for the whole take
(`composer.mixing.match_cells`; of equals the one that is about its region, `composer.mixing.match_specific`), the whole
face first, regions where they leave clearly less beyond the noise; and their weights are solved within bounds and
smooth over time (`composer.mixing.match_over_time`), the penalties set by the noise (`composer.mixing.match_noise`). A
second reading measures what is left. Where shapes turn or have in-betweens, poses are not linear in the weights: then
both are done again about the poses that were found, as long as the frames come nearer; the first time with columns for
their bends (`composer.mixing.match_bent`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.edits.head_frames import HeadFrames
from composer.edits.match import DIGITS, NEARER, WRITTEN, Matcher
from composer.edits.match_few import CLEARLY, FLOOR, SPARSE
from composer.geometry.rigid import Similarity
from composer.head.track_motion import AT_REST, HeadTracker
from composer.mixing.match import Bounds, Columns
from composer.mixing.match_bent import with_bends
from composer.mixing.match_bounded import Floats
from composer.mixing.match_cells import TakeCells, TakeSums, cells_of_take
from composer.mixing.match_noise import noise_variance, penalties
from composer.mixing.match_over_time import ScaledCells
from composer.mixing.match_rigid import FreedColumns
from composer.mixing.match_specific import Shares, most_specific
from composer.mixing.recipe import ALL, Cell, CellKey, Recipe
from composer.progress import Progress

ROUNDS = 4
"""The most readings about poses that are not linear. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class FramesLeft:
    """What is left of each frame beside its pose, over all vertices, mm: `mean`, `p95`, `most` and at which `vertex`;
    each (f,). `squares` mm^2 is the sum of squares over the take, `moved` the same of the frames without head motion.
    """

    mean: Floats
    p95: Floats
    most: Floats
    vertex: NDArray[np.intp]
    squares: float
    moved: float

    @property
    def explained(self) -> float:
        """The share of the squared movement that the weights reach, at most 1; 1 where nothing moves."""
        return 1.0 - self.squares / self.moved if self.moved > 0.0 else 1.0

    def worst(self, count: int, apart: int) -> list[int]:
        """The frames with the largest 95th percentiles, no two within `apart` frames, in order of time."""
        found: list[int] = []
        for number in np.argsort(-self.p95, kind="stable").tolist():
            if len(found) < count and all(abs(number - other) > apart for other in found):
                found.append(number)
        return sorted(found)


@dataclass(frozen=True, eq=False)
class MatchedFrames:
    """The `weights` (f, c) of `cells` at `times` (f,) s, the head's `motions`, which take the poses to the frames in
    mm, and what is `left`. `noise_mm` is the noise of one coordinate; `head_moves` says whether the motion is more than
    the error of the estimate; `notes` are sentences for the person."""

    times: Floats
    fps: float
    cells: tuple[CellKey, ...]
    weights: Floats
    motions: tuple[Similarity, ...]
    head_moves: bool
    left: FramesLeft
    noise_mm: float
    notes: tuple[str, ...]

    def recipe(self, number: int) -> Recipe:
        """The recipe of a frame."""
        return _recipe(self.cells, self.weights[number])


def match_frames(
    evaluated: EvaluatedDocument, frames: HeadFrames, regions: Sequence[str] | None = None,
    shapes: Sequence[str] | None = None, *, bounds: Bounds | None = None, whole: bool = True,
    progress: Progress | None = None,
) -> MatchedFrames:  # fmt: skip
    """The weights over time that reproduce `frames`, few cells unless `bounds.sparse` is 0.

    With `whole` the whole face is tried first, and kept where `regions` (by default those of `Matcher`) are not clearly
    better. Raises MoueError for unknown names, and as `HeadFrames` where a frame cannot be used.
    """
    return _Take(evaluated, frames, regions, shapes, bounds or Bounds(sparse=SPARSE), whole, progress).matched()


@dataclass(frozen=True, eq=False)
class FrameFace:
    """A frame beside its pose: `target` (n, 3) mm, the frame without head motion, and `left` (n, 3) mm, the target
    minus the pose."""

    number: int
    target: NDArray[np.float64]
    left: NDArray[np.float64]


def faces_of(
    evaluated: EvaluatedDocument, frames: HeadFrames, found: MatchedFrames, numbers: Sequence[int]
) -> Iterator[FrameFace]:  # fmt: skip
    """Some of the frames beside their poses, in order; they are read again. Raises MoueError as `HeadFrames`."""
    for number, frame in enumerate(frames):
        if number > max(numbers, default=-1):
            break
        if number in numbers:
            target = found.motions[number].inverse()(frame)
            posed = evaluated.mixer.displacement(found.recipe(number))
            yield FrameFace(number, target, target - evaluated.head.neutral - posed)


@dataclass(eq=False)
class _Sums:
    """What the frames give the columns: `onto` (f, K) mm^2, `squares` (f,) mm^2 of the frames, `bent` (f - 2,) mm^2 of
    their second differences."""

    onto: Floats
    squares: Floats
    bent: Floats


class _Take:
    """One take on its way to be matched."""

    def __init__(
        self, evaluated: EvaluatedDocument, frames: HeadFrames, regions: Sequence[str] | None,
        shapes: Sequence[str] | None, bounds: Bounds, whole: bool, progress: Progress | None,
    ) -> None:  # fmt: skip
        self.evaluated, self.frames, self.bounds, self.progress = evaluated, frames, bounds, progress
        named = Matcher(evaluated, regions, shapes)
        self.straight = named.straight
        self.by_region = named.regions != [ALL]
        used = list(dict.fromkeys([ALL, *named.regions])) if whole else named.regions
        mixer, self.bends = with_bends(evaluated.mixer, named.shapes)
        self.columns = Columns(mixer, used, [*named.shapes, *self.bends])
        self.freed = FreedColumns(self.columns)
        self.shares = Shares.of(self.columns, self.bends)
        self.straight_columns = np.array([key[1] not in self.bends for key in self.columns.keys])
        self.of_all = np.array([key[0] == ALL for key in self.columns.keys])
        self.whole = whole and ALL in used
        self.neutral = evaluated.head.neutral
        self.tracker = HeadTracker(evaluated.head, lambda done, words: self._say(0.1 * done, words))
        self.motions: list[Similarity] = []
        self.coordinates = max(3 * evaluated.head.n_vertices - 6, 1)
        self.floor = (FLOOR * evaluated.head.diagonal) ** 2 / 3.0
        self.notes: list[str] = []

    def matched(self) -> MatchedFrames:
        sums = self._first_reading()
        best: tuple[TakeCells, FramesLeft, list[Similarity], float] | None = None
        rounds = 1 if self.straight else ROUNDS
        for turn in range(rounds):
            self._say(0.5, "choosing cells")
            variance = self._variance(sums)
            found = self._smooth(self._chosen(sums, variance, turn == 0), sums, variance)
            share = 0.5 / rounds
            sums, left = self._reading(found, 0.5 + turn * share, share)
            before = best
            if best is None or self._beyond(left, variance) <= self._beyond(best[1], variance):
                best = (found, left, self.motions, variance)
            if before is not None and self._beyond(left, variance) > (1.0 - NEARER) * self._beyond(before[1], variance):
                break
        assert best is not None
        return self._told(*best)

    def _beyond(self, left: FramesLeft, variance: float) -> float:
        """mm^2, what is left of one coordinate beyond the noise; at least the floor, beyond which nothing is sought."""
        return max(left.squares / (len(self.frames) * self.coordinates) - variance, self.floor)

    def _first_reading(self) -> _Sums:
        """Each frame's head motion, with the help of a face that the whole face's shapes make (or all cells)."""
        at = np.flatnonzero(self.freed.alive & (self.of_all if self.of_all.any() else True))
        scaled = ScaledCells.of(self.freed.gram[np.ix_(at, at)], self.bounds.low, self.bounds.high)
        held, pose = np.zeros(len(at)), None
        gather = _Gather(len(self.frames), self.freed)
        self.motions = []
        for number, frame in enumerate(self.frames):
            self._say(0.1 + 0.4 * number / len(self.frames), f"frame {number + 1} of {len(self.frames)}")
            motion = self.tracker.first(frame, pose)
            if motion is not AT_REST and len(at):
                onto, _ = self.freed.onto(motion.inverse()(frame) - self.neutral)
                held = scaled.each_frame(onto[None, at] / scaled.length, held[None])[0]
                weights = np.zeros(len(self.columns.keys))
                weights[at] = held / scaled.length
                pose = self.neutral + self.columns.displacement(weights)
                motion = self.tracker.refined(pose, frame, motion)
            self.motions.append(motion)
            gather.take(motion.inverse()(frame) - self.neutral)
        return gather.sums

    def _variance(self, sums: _Sums) -> float:
        at = np.flatnonzero(self.freed.alive)
        if not len(at):
            return 0.0
        scaled = ScaledCells.of(self.freed.gram[np.ix_(at, at)], self.bounds.low, self.bounds.high)
        return noise_variance(scaled, sums.onto[:, at] / scaled.length, sums.bent, self.coordinates)

    def _chosen(self, sums: _Sums, variance: float, bent: bool) -> TakeCells:
        """The cells: of the whole face, or of regions too where they leave clearly less beyond the noise. `bent`: with
        the columns of bends."""

        usable = self.freed.alive & (self.straight_columns | bent)
        take = TakeSums(self.freed.gram, sums.onto, sums.squares, self.coordinates, max(variance, self.floor))

        def cells(candidates: NDArray) -> TakeCells:
            places = np.flatnonzero(usable & candidates)
            return most_specific(take, cells_of_take(take, places, self.bounds), places, self.shares, self.bounds)

        def beyond(found: TakeCells) -> float:
            return max(found.left / (len(self.frames) * self.coordinates) - variance, 0.0)

        if not self.whole:
            return cells(np.ones(len(self.of_all), dtype=bool))
        face = cells(self.of_all)
        if not self.by_region or beyond(face) <= self.floor:
            return face
        regions = cells(~self.of_all)
        if self.bounds.sparse and len(face.at):  # cells of the whole face beside those of regions
            candidates = ~self.of_all
            candidates[face.at] = True
            regions = min(regions, cells(candidates), key=lambda found: take.worth(found, self.bounds.sparse))
        return regions if beyond(regions) < CLEARLY**2 * beyond(face) else face

    def _smooth(self, found: TakeCells, sums: _Sums, variance: float) -> TakeCells:
        """The same cells with weights that are smooth over time."""
        if not len(found.at):
            return found
        scaled = ScaledCells.of(self.freed.gram[np.ix_(found.at, found.at)], self.bounds.low, self.bounds.high)
        rough = found.weights * scaled.length
        asked = penalties(scaled, rough, variance, self.frames.times)
        smooth = scaled.smooth(sums.onto[:, found.at] / scaled.length, asked, self.frames.times, rough)
        weights = np.clip(smooth / scaled.length, self.bounds.low, self.bounds.high)
        kept = self.straight_columns[found.at]
        return TakeCells(found.at[kept], _rounded(weights[:, kept]), found.left)

    def _reading(self, found: TakeCells, begin: float, share: float) -> tuple[_Sums, FramesLeft]:
        """What is left of every frame, its head motion fitted to its pose, and the sums about these poses."""
        count, keys = len(self.frames), [self.columns.keys[at] for at in found.at]
        gather = _Gather(count, self.freed)
        told, vertex = np.zeros((3, count)), np.zeros(count, dtype=np.intp)
        squares = moved = 0.0
        motions: list[Similarity] = []
        for number, frame in enumerate(self.frames):
            self._say(begin + share * number / count, f"what is left of frame {number + 1} of {count}")
            weights = np.zeros(len(self.columns.keys))
            weights[found.at] = found.weights[number]
            linear = self.columns.displacement(weights)
            posed = linear
            if not self.straight:
                posed = self.evaluated.mixer.displacement(_recipe(keys, found.weights[number]))
            pose = self.neutral + posed
            motions.append(self.tracker.refined(pose, frame, self.motions[number]))
            asked = motions[-1].inverse()(frame) - self.neutral
            off = asked - posed
            away = np.sqrt(np.einsum("ij,ij->i", off, off))
            vertex[number] = int(np.argmax(away))
            told[:, number] = away.mean(), np.percentile(away, 95), away.max()
            squares, moved = squares + float(np.vdot(off, off)), moved + float(np.vdot(asked, asked))
            if not self.straight:
                gather.take(linear + off)
        self.motions = motions
        return gather.sums, FramesLeft(told[0], told[1], told[2], vertex, squares, moved)

    def _told(
        self, found: TakeCells, left: FramesLeft, motions: list[Similarity], variance: float
    ) -> MatchedFrames:
        used = np.flatnonzero(found.weights.any(axis=0))
        cells = tuple(self.columns.keys[found.at[place]] for place in used)
        motionlike = self.freed.like_head_motion
        if motionlike:
            names = ", ".join(motionlike[:3]) + (f" and {len(motionlike) - 3} more" if len(motionlike) > 3 else "")
            self.notes.append(f"{names}: little else than a motion of the head, so it gets no weight.")
        head_moves = any(motion is not AT_REST and self.tracker.matters(motion) for motion in motions)
        return MatchedFrames(
            self.frames.times, self.frames.fps, cells, found.weights[:, used], tuple(motions), head_moves, left,
            float(np.sqrt(variance)), tuple(self.notes),
        )  # fmt: skip

    def _say(self, done: float, words: str) -> None:
        if self.progress is not None:
            self.progress(done, words)


class _Gather:
    """The sums over the frames, taken one after the other; it holds two of them."""

    def __init__(self, frames: int, freed: FreedColumns) -> None:
        self.freed = freed
        self.sums = _Sums(np.zeros((frames, len(freed.columns.keys))), np.zeros(frames), np.zeros(max(frames - 2, 0)))
        self._number = 0
        self._before: list[NDArray] = []

    def take(self, b: NDArray) -> None:
        """The next frame's displacement (n, 3) mm without head motion."""
        number = self._number
        self.sums.onto[number], self.sums.squares[number] = self.freed.onto(b)
        if len(self._before) == 2:
            second = self._before[0] - 2.0 * self._before[1] + b
            self.sums.bent[number - 2] = self.freed.squares(second)
        self._before = [*self._before[-1:], b]
        self._number += 1


def _recipe(cells: Sequence[CellKey], weights: NDArray) -> Recipe:
    used = ((key, float(weight)) for key, weight in zip(cells, weights, strict=True) if weight)
    return Recipe("frame", tuple(Cell(*key[:2], weight) for key, weight in used))


def _rounded(weights: Floats) -> Floats:
    """Weights as files hold them: of few digits, nothing that nobody sees."""
    held = np.round(weights, DIGITS)
    held[np.abs(held) < WRITTEN] = 0.0
    return held
