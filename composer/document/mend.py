"""A repaired copy of a library in a new folder; the person's own files are never overwritten.

A file without repairable faults is copied byte for byte. Every other file is written over the text of the library's own
topology, in its order and unit, without head motion. The neutral and the unit are recorded in `library.toml`.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np

from composer.document.inspection import Inspection, Looked
from composer.errors import MoueError, cannot
from composer.formats.library_file import Settled, read_settled, write_settled
from composer.formats.mesh import Mesh
from composer.formats.obj_text import ObjText
from composer.formats.registry import write_mesh
from composer.head.file_names import check_file_names
from composer.head.new_folder import filled_whole
from composer.progress import Progress
from composer.units import mm_per

BESIDE = (".toml", ".json", ".mtl", ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".tga", ".exr")
"""Suffixes of files beside the targets that are copied, too."""
SNAP = 2e-7
"""A vertex within this fraction of the head's diagonal of the neutral takes the neutral's position exactly: rounding of
files with six or seven digits.
"""


def write_mended(
    looked: Inspection, to: Path, progress: Progress | None = None
) -> dict[str, str]:  # fmt: skip
    """Write the repaired copy to the new folder `to`, in full or not at all. Returns by file name "copied", "mended" or
    "left out".

    A file that cannot be mended is left out. Refused with MoueError before anything is written: a folder that is there
    and not empty, and one that is the library's own or lies in it.
    """
    _may_make(looked.folder, to)
    base = looked.reference.path
    text = ObjText(base) if base is not None and base.suffix.lower() == ".obj" else None
    became: dict[str, str] = {}
    check_file_names([file.path.name for file in looked.files], "", "target", looked.folder)
    with filled_whole(to, None, "mended copy") as temporary:
        for place, file in enumerate(looked.files):
            if progress is not None:
                progress(place / len(looked.files), f"writing {file.path.name}")
            if file.positions is None:
                became[file.path.name] = "left out"
            elif not file.changed and not _moves(file):
                _copy(file.path, temporary / file.path.name)
                became[file.path.name] = "copied"
            else:
                _write(looked, file, temporary / file.path.name, text)
                became[file.path.name] = "mended"
        for beside in sorted(looked.folder.iterdir()):
            if beside.is_file() and beside.suffix.lower() in BESIDE and beside.name != "moue-bake.json":
                _copy(beside, temporary / beside.name)
        write_settled(temporary, Settled(looked.neutral, looked.unit, read_settled(looked.folder).axes))
    return became


def _moves(file: Looked) -> bool:
    return file.motion is not None and file.motion.matters


def _write(looked: Inspection, file: Looked, to: Path, text: ObjText | None) -> None:
    head, scale = looked.head, mm_per(looked.unit)
    points = np.array(file.positions)
    if _moves(file) and file.motion is not None:
        points = file.motion.motion.inverse()(points * scale)
        unmoved = np.abs(points - head.neutral).max(axis=1) <= SNAP * head.diagonal
        points = np.where(unmoved[:, None], head.neutral, points) / scale
    if text is not None and to.suffix.lower() == ".obj":
        text.write(to, points)
        return
    mesh: Mesh = replace(looked.reference, positions=points, colours=None, name=to.stem, path=file.path)
    write_mesh(to, mesh)


def _may_make(folder: Path, to: Path) -> None:
    try:
        library_folder, new_folder = folder.resolve(), to.resolve()
        if new_folder == library_folder or library_folder in new_folder.parents:
            raise MoueError("lies in the library itself", to, hint="give a new folder elsewhere")
        if new_folder.exists() and (not new_folder.is_dir() or any(new_folder.iterdir())):
            raise MoueError("is there already", to, hint="give a new folder")
    except OSError as error:
        raise cannot("written", to, error) from None


def _copy(source: Path, to: Path) -> None:
    try:
        shutil.copyfile(source, to)
    except OSError as error:
        raise cannot("copied", source, error) from None
