"""Baking a clip: its frames as OBJ or PLY files, or all of them in one file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.bake import forget_files, write_one, write_targets
from composer.document.clip_file import name_of_cell
from composer.document.evaluated_clip import EvaluatedClip
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.morph_clip import MorphClip, morph_clip
from composer.errors import MoueError
from composer.formats.gltf_weights import WeightAnimation
from composer.formats.gltf_write import write_gltf
from composer.formats.mesh import mesh_of
from composer.formats.npz_frames import write_frames
from composer.formats.registry import axes_in
from composer.head.file_names import file_names
from composer.head.head import Head, Shape
from composer.progress import Progress
from composer.units import mm_per


@dataclass(frozen=True, eq=False)
class ClipBake:
    """What is to be written: a clip posed at a level, in a unit, with progress; `notes` tell what came of it."""

    clip: EvaluatedClip
    level: EvaluatedLevel
    unit: str
    progress: Progress | None = None
    notes: list[str] = field(default_factory=list)

    @property
    def head(self) -> Head:
        """The head at the level."""
        return self.level.head

    def poses(self) -> Iterator[NDArray[np.float64]]:
        """(m, 3) mm, the pose of every frame in order."""
        for number in range(self.clip.n_frames):
            if self.progress is not None:
                self.progress(number / self.clip.n_frames, f"frame {number + 1} of {self.clip.n_frames}")
            yield self.level.pose(self.clip.frame(number))


def bake_clip(
    clip: EvaluatedClip, folder: Path | str, *, suffix: str = ".obj", unit: str | None = None, level: int = 0,
    over: Sequence[str] = (), progress: Progress | None = None,
) -> list[Path]:  # fmt: skip
    """Write a clip to `folder`, in `unit` or the head's own unit. Returns the files' paths.

    OBJ and PLY get a file a frame, named after the clip and the frame's number from 0 (`talk_0000.obj`); frames that an
    earlier bake of this clip left beyond the last one are removed, if they are as it left them. Other formats get one
    file of the clip's name, and what came of it is added to the clip's notes. Raises MoueError as
    `composer.document.bake.write_targets`, and for a format that holds no frames.
    """
    folder = Path(folder)
    laid = EvaluatedLevel(clip.evaluated, level)
    mm_per(unit or laid.head.unit)
    baked = ClipBake(clip, laid, unit or laid.head.unit, progress)
    stem = file_names([clip.clip.name], suffix)[clip.clip.name]
    if suffix in A_FILE_A_FRAME:
        return _frame_by_frame(baked, folder, stem, suffix, over)
    writer = IN_ONE_FILE.get(suffix)
    if writer is None:
        known = ", ".join(clip_suffixes())
        raise MoueError(f"has no frames as {suffix!r}", folder, hint=f"a clip is written as {known}")
    files = [write_one(laid.head, folder, stem + suffix, lambda file: writer(file, baked), over)]
    clip.notes += [f"{files[0].name}: {note}" for note in baked.notes]
    return files


def _frame_by_frame(baked: ClipBake, folder: Path, stem: str, suffix: str, over: Sequence[str]) -> list[Path]:
    digits = max(4, len(str(baked.clip.n_frames - 1)))
    names = [f"{stem}_{number:0{digits}d}" for number in range(baked.clip.n_frames)]
    targets = zip(names, baked.poses(), strict=True)
    files = write_targets(
        baked.head, folder, targets, suffix=suffix, names=names, unit=baked.unit, over=over, with_neutral=False
    )  # fmt: skip
    written = {file.name for file in files}
    forget_files(folder, lambda name: _is_frame(name, stem, suffix) and name not in written)
    return files


def _is_frame(name: str, stem: str, suffix: str) -> bool:
    number = name.removeprefix(stem + "_").removesuffix(suffix)
    return name == f"{stem}_{number}{suffix}" and number.isascii() and number.isdecimal() and len(number) >= 4


def _as_npz(file: Path, baked: ClipBake) -> None:
    head = baked.head.with_(axes=axes_in(baked.head, file))
    scale = mm_per(baked.unit)
    frames = (head.axes.to_files(pose) / scale for pose in baked.poses())
    clip = baked.clip
    cells = [name_of_cell(key) for key in clip.cells]
    write_frames(file, mesh_of(head, unit=baked.unit), frames, clip.times, clip.clip.fps, cells, clip.weights)


def _as_gltf(file: Path, baked: ClipBake) -> None:
    morph = morph_clip(baked.clip, baked.level, baked.progress)
    clip = baked.clip
    if not morph.names:
        raise MoueError(f"clip {clip.clip.name!r} moves nothing, so it has no morph targets", file, hint="write npz")
    shapes = tuple(Shape(name, delta) for name, delta in zip(morph.names, morph.deltas, strict=True))
    head = baked.head.with_(shapes=shapes, axes=axes_in(baked.head, file))
    times = clip.times - min(float(clip.times[0]), 0.0)  # glTF has no time before 0
    write_gltf(file, mesh_of(head, shapes=True), WeightAnimation(clip.clip.name, times, morph.weights))
    baked.notes.append(_morph_words(morph))


def _as_usd(file: Path, baked: ClipBake) -> None:
    from composer.formats.usd_frames import Motion, write_motion

    clip = baked.clip
    head = baked.head.with_(axes=axes_in(baked.head, file))
    morph = morph_clip(clip, baked.level) if clip.straight and clip.cells else None
    if morph is not None and not morph.extra:
        shapes = tuple(Shape(name, delta) for name, delta in zip(morph.names, morph.deltas, strict=True))
        head, weights = head.with_(shapes=shapes), morph.weights
        baked.notes.append("the points of every frame, and the same as blend shapes with weights, as a guide.")
    else:
        weights = None
        baked.notes.append("the points of every frame; no weights of blend shapes, which would not say the same.")
    scale = mm_per(baked.unit)
    frames = (head.axes.to_files(pose) / scale for pose in baked.poses())
    mesh = mesh_of(head, shapes=weights is not None, unit=baked.unit)
    write_motion(file, mesh, Motion(clip.clip.name, frames, clip.times, clip.clip.fps, weights))


def _morph_words(morph: MorphClip) -> str:
    number = len(morph.names) - morph.extra
    cells = f"{number} target{'s' * (number != 1)}"
    if not morph.extra:
        return f"{cells}, one a cell; every vertex within {morph.off_mm:.3f} mm at every frame."
    words = "what turns, has in-betweens, or joins otherwise than linearly"
    return (
        f"{cells}, one a cell, and {morph.extra} more for {words};"
        f" every vertex within {morph.off_mm:.3f} mm at every frame."
    )


A_FILE_A_FRAME = (".obj", ".ply")
"""The suffixes of formats that get a file a frame."""
IN_ONE_FILE: dict[str, Callable[[Path, ClipBake], None]] = {
    ".npz": _as_npz, ".glb": _as_gltf, ".gltf": _as_gltf,
    **dict.fromkeys((".usd", ".usda", ".usdc", ".usdz"), _as_usd),
}  # fmt: skip
"""What writes all frames in one file, by its suffix."""


def clip_suffixes() -> list[str]:
    """The suffixes of the formats that a clip is written in."""
    return [*A_FILE_A_FRAME, *IN_ONE_FILE]


