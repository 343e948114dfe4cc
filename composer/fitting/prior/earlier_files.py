"""Earlier heads from files: neutrals on the library's own topology, as fits or sculptors leave them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.registry import read_mesh, suffixes
from composer.head.head import Head
from composer.units import mm_per


def read_earlier(library: Head, paths: Sequence[Path | str], unit: str | None = None) -> list[NDArray[np.float64]]:
    """The neutrals (n, 3) mm in `paths`, files or folders of files, in the order of their names within a folder.

    A file without a unit is in `unit`, by default the library's. Raises MoueError, naming the file, for one that cannot
    be read or does not have the library's vertices and polygons, and for a folder without meshes.
    """
    return [_neutral(library, file, unit) for path in paths for file in _files(Path(path))]


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    known = suffixes()
    files = sorted(file for file in path.iterdir() if file.suffix.lower() in known and file.is_file())
    if not files:
        raise MoueError("holds no meshes to learn from", path, hint=f"Moue reads {', '.join(known)}")
    return files


def _neutral(library: Head, file: Path, unit: str | None) -> NDArray[np.float64]:
    mesh = read_mesh(file)
    if mesh.n_vertices != library.n_vertices:
        raise MoueError(
            f"has {mesh.n_vertices:,} vertices, the library {library.n_vertices:,}", file,
            hint="earlier heads have the library's own topology",
        )  # fmt: skip
    if not mesh.polygons.same_as(library.polygons):
        raise MoueError("has other polygons than the library", file, hint="earlier heads have the library's topology")
    if not np.isfinite(mesh.positions).all():
        bad = int(np.flatnonzero(~np.isfinite(mesh.positions).all(axis=1))[0])
        raise MoueError(f"has a position that is not a number at vertex {bad}", file)
    if not np.ptp(mesh.positions, axis=0).max() > 0:
        raise MoueError("has all its vertices in one place", file)
    return np.asarray(mesh.positions, dtype=np.float64) * mm_per(unit or mesh.unit or library.unit)
