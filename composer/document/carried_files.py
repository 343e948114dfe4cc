"""A carried library on disk: its targets in the layout of the old one, and its finer levels, one target at a time."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.formats.library_file import Settled, write_settled
from composer.formats.mesh import mesh_of
from composer.formats.obj_text import ObjText
from composer.formats.registry import format_of, write_mesh
from composer.head.detail import Detail
from composer.head.file_names import check_file_names
from composer.head.folders import make_folder
from composer.head.head import Head
from composer.head.landmarks import write_landmarks
from composer.head.levels import levels as levels_of
from composer.head.levels import refine
from composer.progress import Progress
from composer.units import mm_per

LIBRARY = "library"
"""The folder of a carried library beside its document."""


def check_names(library: Head, levels: bool = False) -> None:
    """Raises MoueError for names that no file may have, where each shape becomes a file of its name."""
    if levels or not _holds_all(library):
        check_file_names([library.neutral_name, *library.shape_names], ".obj", "shape", library.path)


def library_path(library: Head, folder: Path) -> Path:
    """Where a carried library lies in its `folder`: the folder itself, or the one file of the old one's name in it."""
    return folder / library.path.name if library.path is not None and _holds_all(library) else folder


def write_library(made: Head, folder: Path, old: Head, progress: Progress | None) -> None:
    """Write the carried library in the layout of the old one: a folder of targets, or one file that holds them all."""
    make_folder(folder)
    if old.path is not None and _holds_all(old):
        write_mesh(folder / old.path.name, mesh_of(made, shapes=True))
    else:
        text = ObjText(made.neutral_file) if made.neutral_file is not None else None
        targets: list[tuple[str, NDArray]] = [(made.neutral_name, made.neutral)]
        targets += [(shape.name, made.neutral + shape.delta) for shape in made.shapes]
        for done, (name, points) in enumerate(targets):
            if progress is not None:
                progress(done / len(targets), f"writing {name}")
            if text is not None:
                unmoved = np.all(points == made.neutral, axis=1)
                positions = np.where(unmoved[:, None], text.positions, made.axes.to_files(points) / mm_per(made.unit))
                text.write(folder / f"{name}.obj", positions, moved=~unmoved)
            else:
                write_mesh(folder / f"{name}.obj", mesh_of(made, points))
        if not made.axes.as_they_are:
            write_settled(folder, Settled(made.neutral_name, made.unit, made.axes))
    if made.landmarks is not None:
        write_landmarks(folder / "landmarks.toml", made.landmarks)


def write_levels(
    evaluated: EvaluatedDocument, made: Head, folder: Path, finer: Mapping[int, NDArray], scale: float,
    progress: Progress | None,
) -> dict[int, Path]:  # fmt: skip
    """Write the library at finer levels, one target at a time: the document's levels, and those of `finer` neutrals.

    A shape's detail is that of the old shape beyond the old neutral, times `scale`, added to the new neutral's own in
    the local frames of the carried pose. A neutral that is not among `finer` is the fitted one, subdivided. A shape
    that the old head has no finer target of gets no file: it wears the neutral's detail.
    """
    wanted = sorted({*evaluated.project.levels, *finer})
    steps = levels_of(made.polygons, max(wanted, default=0))
    places: dict[int, Path] = {}
    for level in wanted:
        places[level] = folder / f"level{level}"
        make_folder(places[level])
        known = level in evaluated.project.levels
        old = EvaluatedLevel(evaluated, level, steps=steps).detail if known else None
        rest = finer.get(level)
        if rest is None:
            rest = refine(made.neutral, steps[:level])
        new = Detail(made, level, rest, _none, steps=steps[:level])
        finest = Head(
            made.name, new.steps[-1].polygons, new.add(made.neutral, new.neutral), unit=made.unit, axes=made.axes
        )
        write_mesh(places[level] / f"{made.neutral_name}.obj", mesh_of(finest))
        for done, shape in enumerate(made.shapes if old is not None else ()):
            local = old.of(shape.name) if old is not None and shape.name in evaluated.head.shape_index else None
            if progress is not None:
                progress(done / len(made.shapes), f"level {level}: {shape.name}")
            if local is not None:
                points = new.add(made.neutral + shape.delta, new.neutral + scale * local)
                write_mesh(places[level] / f"{shape.name}.obj", mesh_of(finest, points))
    return places


def _none(_name: str) -> None:
    """No target at this level, for any shape."""


def _holds_all(head: Head) -> bool:
    """Whether a library is one file that holds all its shapes."""
    return head.path is not None and head.path.is_file() and format_of(head.path).many_shapes
