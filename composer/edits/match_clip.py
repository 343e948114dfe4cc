"""A matched performance as a clip of a document: a table beside it or thinned keys, and the head's motion."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.clip_file import name_of_cell
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.document.store import moved_to
from composer.edits.clips import add_clip
from composer.edits.match_frames import MatchedFrames
from composer.edits.thin_keys import ThinnedKeys, thin_keys
from composer.errors import MoueError
from composer.formats.motion_csv import motion_csv_text
from composer.formats.weight_csv import weight_csv_text
from composer.head.atomic import write_whole
from composer.head.file_names import file_names
from composer.head.folders import is_there
from composer.head.track_motion import quaternions
from composer.mixing.clip import Clip, check_length
from composer.mixing.recipe import Cell, Recipe

POOR = 0.5
"""Least share of a take's movement that the weights must reach: with less, the match is told as poor (our choice)."""
BLOCK, FRAMES = 4096, 256
"""Vertices and frames that are compared at a time (our choice)."""


@dataclass(frozen=True, eq=False)
class ClipOfFrames:
    """The `project` with the clip, the texts of the `files` that belong beside it, by path, the path of the head's
    motion among them (None where the head does not move), and the `thinned` keys, if they are."""

    project: Project
    files: Mapping[Path, str]
    motion: Path | None
    thinned: ThinnedKeys | None

    def write_files(self) -> None:
        """Write the files beside the document."""
        for path, text in self.files.items():
            write_whole(path, lambda file, text=text: file.write(text.encode()))  # type: ignore[misc]


def check_clip_name(project: Project, path: Path, name: str) -> None:
    """Raises MoueError where a clip of this name cannot be added to the document that will lie at `path`, or a file
    that would be written beside it is there."""
    add_clip(project, Clip(name, length=1.0))
    for file in _places(path, name):
        if is_there(file):
            raise MoueError("is there already", file, hint="give the clip another name, or remove the file")


def clip_of_frames(
    evaluated: EvaluatedDocument, path: Path, name: str, found: MatchedFrames, thin: float | None = None
) -> ClipOfFrames:  # fmt: skip
    """The document at `path` with the matched frames as the clip `name`, in a table beside it, or, with `thin`, as keys
    that keep every vertex within so many mm. Raises MoueError as `check_clip_name`, and for a take that is too long."""
    check_clip_name(evaluated.project, path, name)
    length = float(found.times[-1])
    check_length(length, found.fps, "the take")
    project = moved_to(evaluated.project, path)
    table, track = _places(path, name)
    files: dict[Path, str] = {}
    note = ""
    if found.head_moves:
        shifts = np.array([motion.shift for motion in found.motions])
        files[track] = motion_csv_text(found.times, shifts, quaternions(list(found.motions)))
        note = f"The head's own motion is in {track.name}."
    thinned = None
    if not found.cells:  # nothing moves: a clip at rest
        clip = Clip(name, found.fps, length, note=note)
    elif thin is None:
        files[table] = weight_csv_text(found.times, [name_of_cell(key) for key in found.cells], found.weights)
        clip = Clip(name, found.fps, file=table.name, note=note)
    else:
        reach, off = _reach(evaluated, found), _off(evaluated, found)
        thinned = thin_keys(found.times, found.cells, found.weights, reach, thin, off)
        clip = Clip(name, found.fps, length, thinned.keys, note=note)
    return ClipOfFrames(add_clip(project, clip), files, track if found.head_moves else None, thinned)


def _places(path: Path, name: str) -> tuple[Path, Path]:
    """Where a clip's table and its head motion lie."""
    stem = file_names([name])[name]
    return path.parent / f"{stem}.csv", path.parent / f"{stem}_head.csv"


def _reach(evaluated: EvaluatedDocument, found: MatchedFrames) -> NDArray[np.float64]:
    """(c,) mm, how far each cell moves the vertex that it moves most, at weight 1."""
    moved = [evaluated.mixer.displacement(Recipe("one", (Cell(*key[:2], 1.0),))) for key in found.cells]
    return np.array([np.sqrt(np.einsum("ij,ij->i", each, each).max(initial=0.0)) for each in moved])


def _off(evaluated: EvaluatedDocument, found: MatchedFrames) -> Callable[[NDArray], float]:
    """How far other weights (f, c) of the cells put any vertex of any frame, mm."""
    mixer, head = evaluated.mixer, evaluated.head
    shapes = {key[1] for key in found.cells}
    bent = mixer.correctives.names or any(name in mixer.hinges or head.shape(name).inbetweens for name in shapes)
    ones = [] if bent else [mixer.displacement(Recipe("one", (Cell(*key[:2], 1.0),))) for key in found.cells]

    def posed(row: NDArray) -> NDArray[np.float64]:
        cells = (Cell(*key[:2], float(w)) for key, w in zip(found.cells, row, strict=True) if w)
        return mixer.displacement(Recipe("frame", tuple(cells)))

    def off(weights: NDArray) -> float:
        changed = np.flatnonzero((weights != found.weights).any(axis=1))
        most = 0.0
        if bent:
            for number in changed:
                away = posed(weights[number]) - posed(found.weights[number])
                most = max(most, float(np.einsum("ij,ij->i", away, away).max(initial=0.0)))
        else:
            change = weights[changed] - found.weights[changed]
            for start in range(0, head.n_vertices if len(changed) else 0, BLOCK):
                part = np.stack([one[start : start + BLOCK].ravel() for one in ones])
                for first in range(0, len(change), FRAMES):
                    away = (change[first : first + FRAMES] @ part).reshape(-1, 3)
                    most = max(most, float(np.einsum("ij,ij->i", away, away).max(initial=0.0)))
        return float(np.sqrt(most))

    return off
