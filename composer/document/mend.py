"""A mended copy of a library in a new folder: nothing of the person's own is ever overwritten.

A file without a fault that can be mended is copied byte for byte; every other is written anew over the text of the
library's own topology, in its order and unit, its head motion removed.
The choice of neutral and unit is written down in its `library.toml`.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np

from composer.document.inspection import Inspection, Looked
from composer.errors import MoueError, cannot
from composer.formats.library_file import Settled, write_settled
from composer.formats.mesh import Mesh
from composer.formats.obj_text import ObjText
from composer.formats.registry import write_mesh
from composer.head.file_names import check_file_names
from composer.head.new_folder import filled_whole
from composer.progress import Progress
from composer.units import mm_per

BESIDE = (".toml", ".json", ".mtl", ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".tga", ".exr")
"""What lies beside the targets and comes along."""
SNAP = 2e-7
"""Of the head's diagonal: a vertex that came this near to the neutral's place has not moved."""


def write_mended(
    looked: Inspection, to: Path, progress: Progress | None = None
) -> dict[str, str]:  # fmt: skip
    """Write the mended copy to the new folder `to`, whole or not at all; what became of each file:
    "copied", "mended" or "left out".

    A file that cannot be mended is left out. Refused with MoueError before anything is written: a folder that is there
    and not empty, and one that is the library's own or lies in it.
    """
    _may_make(looked.folder, to)
    base = looked.reference.path
    text = ObjText(base) if base is not None and base.suffix.lower() == ".obj" else None
    became: dict[str, str] = {}
    check_file_names([file.path.name for file in looked.files], "", "target", looked.folder)
    with filled_whole(to, None, "mended copy") as made:
        for place, file in enumerate(looked.files):
            if progress is not None:
                progress(place / len(looked.files), f"writing {file.path.name}")
            if file.positions is None:
                became[file.path.name] = "left out"
            elif not file.changed and not _moves(file):
                _copy(file.path, made / file.path.name)
                became[file.path.name] = "copied"
            else:
                _write(looked, file, made / file.path.name, text)
                became[file.path.name] = "mended"
        for beside in sorted(looked.folder.iterdir()):
            if beside.is_file() and beside.suffix.lower() in BESIDE and beside.name != "moue-bake.json":
                _copy(beside, made / beside.name)
        write_settled(made, Settled(looked.neutral, looked.unit))
    return became


def _moves(file: Looked) -> bool:
    return file.motion is not None and file.motion.matters


def _write(looked: Inspection, file: Looked, to: Path, text: ObjText | None) -> None:
    head, scale = looked.head, mm_per(looked.unit)
    points = np.array(file.positions)
    if _moves(file) and file.motion is not None:
        points = file.motion.motion.inverse()(points * scale)
        still = np.abs(points - head.neutral).max(axis=1) <= SNAP * head.diagonal
        points = np.where(still[:, None], head.neutral, points) / scale
    if text is not None and to.suffix.lower() == ".obj":
        text.write(to, points)
        return
    mesh: Mesh = replace(looked.reference, positions=points, colours=None, name=to.stem, path=file.path)
    write_mesh(to, mesh)


def _may_make(folder: Path, to: Path) -> None:
    try:
        here, there = folder.resolve(), to.resolve()
        if there == here or here in there.parents:
            raise MoueError("lies in the library itself", to, hint="give a new folder elsewhere")
        if there.exists() and (not there.is_dir() or any(there.iterdir())):
            raise MoueError("is there already", to, hint="give a new folder")
    except OSError as error:
        raise cannot("written", to, error) from None


def _copy(source: Path, to: Path) -> None:
    try:
        shutil.copyfile(source, to)
    except OSError as error:
        raise cannot("copied", source, error) from None
