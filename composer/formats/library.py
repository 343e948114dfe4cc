"""A library of shapes on disk becomes a head: a folder of targets on one topology.

The neutral is the target of that name, or the one asked for, or the target with the smallest summed RMS distance
to all others, which is then said. Every other file becomes a shape named after it, as a float32 displacement, so
that no more is held than the library's own displacements and one file being read.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError, unknown
from composer.formats.mesh import Mesh
from composer.formats.registry import format_of, read_mesh, suffixes
from composer.head.head import Head, Shape
from composer.head.landmarks import read_landmarks
from composer.units import guess_unit, mm_per
from masks.polygons import Polygons, read_only

Progress = Callable[[float, str], None]


def open_library(
    path: Path | str,
    neutral: str | None = None,
    unit: str | None = None,
    skip_broken: bool = False,
    progress: Progress | None = None,
) -> Head:
    """The head in a folder of targets, in mm. `notes` of the head say what was guessed or left out.

    `neutral` names the neutral's file without its suffix; `unit` is the files' unit, guessed by size where not
    given. With `skip_broken`, files that cannot be used are left out and noted. Raises MoueError naming the file.
    """
    folder = Path(path)
    if not folder.is_dir():
        raise MoueError("is not a folder of targets" if folder.exists() else "is not there", folder)
    files = _files(folder)
    notes: list[str] = []
    name = neutral or ("neutral" if "neutral" in files else None)
    if name is not None and name not in files:
        raise unknown("neutral", name, files, folder)
    names = [name, *(other for other in files if other != name)] if name else list(files)
    first: Mesh | None = None
    rows: dict[str, NDArray[np.float32]] = {}
    for i, each in enumerate(names):
        if progress is not None:
            progress(i / len(names), f"reading {each}")
        try:
            mesh = read_mesh(files[each])
            if first is not None:
                _same_topology(mesh.polygons, first.polygons, files[each], names[0])
        except MoueError as error:
            if not skip_broken or each == name:
                raise
            notes.append(f"Left out: {error}")
            continue
        if first is None:
            first = mesh
            name = name or each
        rows[each] = (mesh.positions - first.positions).astype(np.float32)
    if first is None:
        raise MoueError("holds no target that can be used", folder)
    rest = first.positions
    if neutral is None and "neutral" not in files:
        guessed = _most_central(rows)
        notes.append(
            f"No neutral was named; {guessed!r} lies nearest to all others and is taken as the neutral."
        )
        shift = rows[guessed]
        rest = read_mesh(files[guessed]).positions
        for other in rows.values():
            if other is not shift:
                other -= shift
        name = guessed
    said = unit or guess_unit(float(np.linalg.norm(np.ptp(rest, axis=0))))
    if unit is None:
        notes.append(
            f"The unit was guessed from the head's size: {said}."
            if said
            else "No unit fits the head's size; taken as mm."
        )
    scale = mm_per(said or "mm")
    for row in rows.values():
        row *= np.float32(scale)
    marks = next((folder / f for f in ("landmarks.toml", "landmarks.json") if (folder / f).exists()), None)
    return Head(
        folder.resolve().name,
        first.polygons,
        rest * scale,
        tuple(Shape(each, read_only(row)) for each, row in rows.items() if each != name),
        groups=dict(first.groups),
        materials=dict(first.materials),
        uv=first.uv,
        colours=first.colours,
        unit=said or "mm",
        neutral_name=str(name),
        neutral_file=files[str(name)] if format_of(files[str(name)]).name == "OBJ" else None,
        path=folder,
        notes=tuple(notes),
        landmarks=read_landmarks(marks) if marks else None,
    )


def _files(folder: Path) -> dict[str, Path]:
    known = suffixes(many_shapes=False)
    try:
        found = sorted(
            p for p in folder.iterdir() if p.suffix.lower() in known and not p.name.startswith(".")
        )
    except OSError as error:
        raise MoueError(f"cannot be read: {error.strerror}", folder) from None
    if not found:
        raise MoueError(f"holds no targets ({', '.join(known)})", folder, mend="give a folder of OBJ files")
    files: dict[str, Path] = {}
    for file in found:
        if file.stem in files:
            raise MoueError(
                f"and {files[file.stem].name} give two targets of one name", file, mend="rename one"
            )
        files[file.stem] = file
    return files


def _same_topology(polygons: Polygons, first: Polygons, path: Path, other: str) -> None:
    if polygons.same_as(first):
        return
    if polygons.n_vertices != first.n_vertices:
        raise MoueError(
            f"has {polygons.n_vertices} vertices, {other!r} has {first.n_vertices}",
            path,
            mend="leave it out or mend it",
        )
    triangulated = len(polygons.triangles) == len(first.triangles) and polygons.n_faces != first.n_faces
    how = "the same vertices, other polygons" + (" (triangulated?)" if triangulated else "")
    raise MoueError(f"has {how} than {other!r}", path, mend="leave it out")


def _most_central(rows: dict[str, NDArray[np.float32]]) -> str:
    """The name with the smallest summed RMS distance to all others."""
    names = list(rows)
    flat = [rows[name].ravel() for name in names]
    gram = np.array([[float(np.dot(a, b)) for b in flat] for a in flat])
    square = np.maximum(gram.diagonal()[:, None] + gram.diagonal()[None, :] - 2.0 * gram, 0.0)
    return names[int(np.argmin(np.sqrt(square).sum(axis=1)))]
