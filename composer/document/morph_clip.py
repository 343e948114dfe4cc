"""A clip as morph targets and their weights: what programs play that know only displacements and amounts.

Each cell of the clip is a target: what it does at the largest weight that it has, its mask and its row applied. Where
the pose is linear in the weights, those are the clip exactly. Elsewhere (a jaw that turns, in-betweens, correctives, a
seamless join) something is left over at each frame; the left-overs of all frames are written as few further targets as
keep every vertex within a tolerance at every frame: their principal components (Alexa and Mueller 2000, "Representing
Animations by Principal Components", Computer Graphics Forum 19(3)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.document.clip_file import name_of_cell
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.evaluated_level import EvaluatedLevel
from composer.errors import MoueError
from composer.progress import Progress

WITHIN_MM = 0.1
"""How far a vertex of a played frame may lie from its place, in mm."""

MOST_NUMBERS = 1 << 30
"""Most coordinates of all frames together, 4 GiB of float32; a safety limit."""


@dataclass(frozen=True, eq=False)
class MorphClip:
    """Targets `names` with `deltas`, t arrays (m, 3) in mm, and their `weights` (f, t) at the frames of the clip.

    `extra` of them, the last, are what the cells alone do not say; `off_mm` is the largest distance of any vertex at
    any frame from its place.
    """

    names: tuple[str, ...]
    deltas: tuple[NDArray[np.float32], ...]
    weights: NDArray[np.float64]
    extra: int
    off_mm: float


def morph_clip(
    clip: EvaluatedClip, level: EvaluatedLevel, progress: Progress | None = None, within_mm: float = WITHIN_MM
) -> MorphClip:  # fmt: skip
    """The clip at a level as morph targets, every vertex of every frame within `within_mm`. Raises MoueError for a clip
    that would take more than `MOST_NUMBERS` to compare."""
    neutral = level.head.neutral
    if clip.n_frames * neutral.size > MOST_NUMBERS:
        size = f"{clip.n_frames:,} frames of {len(neutral):,} vertices"
        raise MoueError(f"{size} are too many for morph targets", hint="write npz or usd, or a lower level")
    names = [name_of_cell(key) for key in clip.cells]
    largest = largest_weights(clip.weights)
    largest[largest == 0.0] = 1.0
    deltas = []
    for column, weight in enumerate(largest):
        alone = np.zeros(len(largest))
        alone[column] = weight
        deltas.append(((level.pose(clip.recipe_of(alone)) - neutral) / weight).astype(np.float32))
    left = np.empty((clip.n_frames, neutral.size), dtype=np.float32)
    for number in range(clip.n_frames):
        if progress is not None:
            progress(0.9 * number / clip.n_frames, f"frame {number + 1} of {clip.n_frames}")
        moved = level.pose(clip.frame(number)) - neutral
        for weight, delta in zip(clip.weights[number], deltas, strict=True):
            if weight:
                moved -= weight * delta
        left[number] = moved.reshape(-1)
    more, amounts, off = _components(left, within_mm)
    taken = set(names)
    extra = [_free(f"{clip.clip.name} {number + 1}", taken) for number in range(len(more))]
    return MorphClip(
        (*names, *extra), (*deltas, *(each.reshape(-1, 3) for each in more)),
        np.concatenate([clip.weights, amounts], axis=1), len(more), off,
    )  # fmt: skip


def largest_weights(weights: NDArray) -> NDArray[np.float64]:
    """(c,) of weights (f, c) the one of each cell that is furthest from 0."""
    at = np.argmax(np.abs(weights), axis=0)
    return np.asarray(np.take_along_axis(weights, at[None], axis=0)[0], dtype=np.float64)


def _components(left: NDArray[np.float32], within_mm: float) -> tuple[list[NDArray[np.float32]], NDArray, float]:
    """As few components (3 m,) of what is `left` (f, 3 m) over as bring it within a distance, their amounts (f, k),
    and the largest distance that then remains. A component is scaled so that its largest amount is 1."""
    off = _furthest(left)
    if off <= within_mm:
        return [], np.zeros((len(left), 0)), off
    rows = left.astype(np.float64) if left.size < 1 << 24 else left
    sizes, frames = np.linalg.eigh(np.asarray(rows @ rows.T, dtype=np.float64))
    components: list[NDArray[np.float32]] = []
    amounts: list[NDArray[np.float64]] = []
    for column in np.argsort(-sizes):
        along = frames[:, column] * np.sqrt(max(float(sizes[column]), 0.0))
        scale = float(np.abs(along).max())
        if scale == 0.0:
            break
        along = along / along[int(np.argmax(np.abs(along)))]
        component = (along @ rows / float(along @ along)).astype(np.float32)
        components.append(component)
        amounts.append(along)
        left = left - along.astype(np.float32)[:, None] * component
        off = _furthest(left)
        if off <= within_mm:
            break
    return components, np.stack(amounts, axis=1), off


def _furthest(left: NDArray[np.float32]) -> float:
    squares = [float((row.reshape(-1, 3) ** 2).sum(axis=1).max(initial=0.0)) for row in left]
    return float(np.sqrt(max(squares, default=0.0)))


def _free(name: str, taken: set[str]) -> str:
    while name in taken:
        name += "_"
    taken.add(name)
    return name
