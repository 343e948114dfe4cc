"""A fitted head on disk: `fitted.obj`, every projected level, its landmarks and the report; and levels read back."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.chain import FittedHead
from composer.formats.mesh import Mesh, mesh_of
from composer.formats.obj import write
from composer.formats.registry import read_mesh
from composer.head.atomic import write_whole
from composer.head.head import Head
from composer.head.landmarks import write_landmarks
from composer.head.levels import HIGHEST_LEVEL, levels, vertex_count
from composer.head.new_folder import filled_whole
from composer.units import mm_per

FITTED, REPORT, LANDMARKS, MANIFEST = "fitted.obj", "report.json", "landmarks.toml", "moue-fit.json"


def level_file(k: int) -> str:
    """The name of a level's file; level 0 is the fitted cage itself."""
    return FITTED if k == 0 else f"fitted_level{k}.obj"


def write_fitted(
    fitted: FittedHead, folder: Path | str, unit: str, more: Callable[[Path], list[Path]] | None = None
) -> list[Path]:
    """Write a fitted head to `folder`, positions in `unit`, completely or not at all; return the paths, the cage first.

    Finer levels have Moue's own vertex order. `more` is called with the folder while it is filled, and returns the
    paths that it adds. Raises MoueError where the folder cannot be written or holds anything but an unchanged earlier
    fit, and where the unit is unknown.
    """
    folder = Path(folder)
    with filled_whole(folder, MANIFEST, "fit") as beside:
        paths = _written(fitted, beside, unit)
        if more is not None:
            paths += more(beside)
    return [folder / path.name for path in paths]


def _written(fitted: FittedHead, folder: Path, unit: str) -> list[Path]:
    scale = 1.0 / mm_per(unit)
    paths = [folder / FITTED]
    write(paths[0], mesh_of(fitted.head, unit=unit))
    for level in fitted.levels:
        if level.k > 0:
            paths.append(folder / level_file(level.k))
            write(paths[-1], Mesh(level.polygons, np.asarray(level.positions) * scale, unit=unit))
    if fitted.head.landmarks:
        paths.append(folder / LANDMARKS)
        write_landmarks(paths[-1], fitted.head.landmarks, mm_per_unit=mm_per(unit))
    paths.append(folder / REPORT)
    text = json.dumps(fitted.report.as_json(), indent=1) + "\n"
    write_whole(paths[-1], lambda file: file.write(text.encode()))
    return paths


def levels_beside(file: Path) -> list[Path]:
    """The finer levels that a fit wrote beside its cage; none where `file` is not the cage of a fit."""
    if file.name != FITTED or not (file.parent / MANIFEST).is_file():
        return []
    return [place for k in range(1, HIGHEST_LEVEL + 1) if (place := file.parent / level_file(k)).is_file()]


def read_levels(library: Head, unit: str, files: Sequence[Path]) -> dict[int, NDArray]:
    """The fitted neutral (n_k, 3) mm at the finer levels in `files`, by level; the vertex count tells the level.

    `unit` is that of a file without one. Raises MoueError for a file that has the vertex count of no level, or is not
    in Moue's own vertex order.
    """
    counts = {vertex_count(library.polygons, k): k for k in range(1, HIGHEST_LEVEL + 1)}
    found: dict[int, NDArray] = {}
    for file in files:
        mesh = read_mesh(file)
        level = counts.get(mesh.n_vertices)
        if level is None:
            known = ", ".join(f"{count:,}" for count in list(counts)[:4])
            raise MoueError(f"has {mesh.n_vertices:,} vertices, finer levels have {known} and more", file)
        if not mesh.polygons.same_as(levels(library.polygons, level)[-1].polygons):
            raise MoueError(f"does not have Moue's vertex order of level {level}", file)
        found[level] = mesh.positions * mm_per(mesh.unit or unit)
    return found
