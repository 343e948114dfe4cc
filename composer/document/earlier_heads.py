"""Earlier heads: other heads at rest on a document's topology, which it names under `[earlier.NAME]`.

A table names a file, or a folder in which every file is a head of its own name. Each opens as a shape of the document's
head: the way from the neutral to that head, laid over the neutral by the similarity of the skin (Umeyama 1991, by
`composer.geometry.rigid`; vertices weigh by the area about them). A recipe over them takes the nose of one and the ears
of another by the document's regions. An earlier head that cannot be used is left out with a note, so that the document
still opens.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from composer.document.project import EarlierFile, Project
from composer.errors import MoueError
from composer.formats.library import targets_in
from composer.formats.registry import read_mesh
from composer.geometry.polygons import read_only
from composer.geometry.rigid import similarity
from composer.head.folders import is_folder
from composer.head.head import Head, Shape
from composer.head.order_difference import order_difference
from composer.units import mm_per

if TYPE_CHECKING:
    from composer.document.evaluated import EvaluatedDocument

GROUP = "earlier heads"
"""The group of the tray in which earlier heads stand."""


class EarlierHead(NamedTuple):
    """An earlier head: its `name`, and its `positions` (n, 3) float64 mm where its file has them."""

    name: str
    positions: NDArray[np.float64]


def earlier_heads(document: EvaluatedDocument) -> tuple[EarlierHead, ...]:
    """The earlier heads of an open document, in order. One that cannot be used is left out; the document's notes say
    why."""
    found = []
    for name, file in files_of(document.project).items():
        try:
            found.append(EarlierHead(name, positions_of(file, document.library)))
        except MoueError:
            continue
    return tuple(found)


def files_of(project: Project) -> dict[str, EarlierFile]:
    """The file of every earlier head, by name: one of a table's own name, or all in a table's folder by their names.

    A folder that cannot be listed stands for itself, so that reading it tells why.
    """
    files: dict[str, EarlierFile] = {}
    for name, said in project.earlier.items():
        try:
            inside = targets_in(said.path) if is_folder(said.path) else []
        except MoueError:
            inside = []
        files |= {file.stem: EarlierFile(file, said.unit) for file in inside} or {name: said}
    return files


def positions_of(file: EarlierFile, library: Head) -> NDArray[np.float64]:
    """(n, 3) mm, the neutral in an earlier head's file, read-only; the file's axes are those of the library's files.

    Raises MoueError where the file cannot be read, its unit is unknown, or it is not of the library's topology.
    """
    mesh = read_mesh(file.path)
    scale = mm_per(file.unit or mesh.unit or library.unit, str(file.path))
    points = library.axes.from_files(mesh.positions * scale)
    found = order_difference(library.polygons, mesh.polygons, library.neutral, points)
    if found is not None:
        raise MoueError(found.words, file.path, hint="an earlier head has the topology and order of the document's")
    return read_only(np.ascontiguousarray(points, dtype=np.float64))


def laid_over(positions: NDArray, head: Head) -> NDArray[np.float64]:
    """(n, 3) mm, another head's `positions` (n, 3) mm moved, turned and scaled as a whole onto the skin of `head`."""
    weight = np.where(head.skin, head.surface.mass, 0.0) if head.skin.any() else None
    return similarity(positions, head.neutral, weight)(positions)


def with_earlier(
    head: Head, document: Path, files: Mapping[str, EarlierFile],
    known: Mapping[str, tuple[EarlierFile, Shape]] | None = None,
) -> tuple[Head, list[str]]:  # fmt: skip
    """The head with the earlier heads in `files` as its last shapes, and a sentence on each that is left out.

    Of `known`, shapes by name with the files that they came from, those whose file is the same are taken as they are.
    Raises MoueError where an earlier head has the name of a shape or of the neutral.
    """
    shapes, notes = [], []
    for name, file in files.items():
        if name in head.shape_index or name == head.neutral_name:
            what = f"earlier head {name!r} has the name of a shape of the head"
            raise MoueError(what, document, hint="rename its table [earlier.NAME]")
        held = (known or {}).get(name)
        if held is not None and held[0] == file:
            shapes.append(held[1])
            continue
        try:
            moved = laid_over(positions_of(file, head), head) - head.neutral
        except MoueError as error:
            notes.append(f"The earlier head {name!r} is left out: {error}")
            continue
        shapes.append(Shape(name, read_only(moved.astype(np.float32)), is_head=True))
    if not shapes:
        return head, notes
    surface = head.surface
    dressed = head.with_(shapes=(*head.shapes, *shapes))
    vars(dressed)["surface"], vars(dressed)["skin"] = surface, head.skin
    return dressed, notes
