"""The geometry formats, one line each, and reading and writing by a file's suffix.

The command and the window take the formats that they offer from `FORMATS`. numpy is loaded when a file is read, so that
`moue --help` can list the names quickly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from composer.errors import MoueError
from composer.formats.arrival import UNSEEN, Arrival
from composer.head.folders import is_folder
from composer.head.reading import check_regular, reading

if TYPE_CHECKING:
    from composer.formats.mesh import Mesh
    from composer.head.axes import FileAxes
    from composer.head.head import Head


@dataclass(frozen=True)
class Format:
    """A format: its name, the suffixes of its files, its module, whether one file holds many shapes, and whether its
    standard or its files say that y is up."""

    name: str
    suffixes: tuple[str, ...]
    module_name: str
    many_shapes: bool = False
    writes: bool = True
    y_up: bool = False

    @property
    def module(self) -> ModuleType:
        """The module with `read(path) -> Mesh` and `write(path, mesh) -> notes`, loaded when first used."""
        return import_module(self.module_name)


FORMATS: tuple[Format, ...] = (
    Format("OBJ", (".obj",), "composer.formats.obj"),
    Format("PLY", (".ply",), "composer.formats.ply"),
    Format("STL", (".stl",), "composer.formats.stl", writes=False),
    Format("glTF", (".glb", ".gltf"), "composer.formats.gltf", many_shapes=True, y_up=True),
    Format("NPZ", (".npz",), "composer.formats.npz", many_shapes=True),
    Format("USD", (".usd", ".usda", ".usdc", ".usdz"), "composer.formats.usd", many_shapes=True, y_up=True),
)


def suffixes(writing: bool = False, many_shapes: bool | None = None) -> list[str]:
    """The suffixes that Moue reads or, with `writing`, writes; `many_shapes` selects formats with many shapes a file.

    >>> suffixes(writing=True, many_shapes=False)
    ['.obj', '.ply']
    """
    return [
        suffix
        for form in FORMATS
        if (form.writes or not writing) and many_shapes in (None, form.many_shapes)
        for suffix in form.suffixes
    ]


def format_of(path: Path | str, writing: bool = False) -> Format:
    """The format of a file by its suffix. Raises MoueError where there is none."""
    suffix = Path(path).suffix.lower()
    for form in FORMATS:
        if suffix in form.suffixes and (form.writes or not writing):
            return form
    verb = "writes" if writing else "reads"
    what = f"has the unknown suffix {suffix!r}" if suffix else "has no suffix"
    raise MoueError(what, path, hint=f"Moue {verb} {', '.join(suffixes(writing))}")


def axes_in(head: Head, file: Path | str) -> FileAxes:
    """How a head stands in a file of its own: as in its library's files; upright where the format says that y is up
    (glTF 2.0, section 3.4, coordinate system and units; USD's upAxis), unless the library's own file is of that format.
    """
    from composer.head.axes import FileAxes

    form = format_of(file)
    own = head.path is not None and head.path.suffix.lower() in form.suffixes
    return FileAxes() if form.y_up and not own else head.axes


def read_mesh(path: Path | str, unit: str | None = None, told: Arrival = UNSEEN) -> Mesh:
    """The mesh in a file, positions in the file's unit (n, 3) float64; `unit` overrules what the file says. The
    neutral is `told` as soon as it is read, and shapes where they are read one by one.

    Raises MoueError, naming the file and where there is one the line, for a file that cannot be used.
    """
    import numpy as np

    path = Path(path)
    form = format_of(path)
    if is_folder(path):
        raise MoueError("is a folder, not a file", path, hint=f"give one {form.name} file")
    check_regular(path)
    with reading(path, form.name), np.errstate(invalid="ignore", over="ignore"):  # readers report these
        mesh: Mesh = form.module.read(path, told) if form.many_shapes else form.module.read(path)
    if not form.many_shapes:
        told.neutral(mesh)
    return replace(mesh, unit=unit) if unit else mesh


def write_mesh(path: Path | str, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh in the format of the path's suffix, completely or not at all; return notes on losses.

    Raises MoueError for a suffix that is not known, or where the file cannot be written.
    """
    path = Path(path)
    notes: tuple[str, ...] = format_of(path, writing=True).module.write(path, mesh)
    return notes
