"""A fitted head on disk: `fitted.obj`, every projected level, its landmarks and the report."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

from composer.fitting.chain import FittedHead
from composer.formats.mesh import Mesh, mesh_of
from composer.formats.obj import write
from composer.head.atomic import write_whole
from composer.head.landmarks import write_landmarks
from composer.head.new_folder import filled_whole
from composer.units import mm_per

FITTED, REPORT, LANDMARKS, MANIFEST = "fitted.obj", "report.json", "landmarks.toml", "moue-fit.json"


def level_file(k: int) -> str:
    """The name of a level's file; level 0 is the fitted cage itself."""
    return FITTED if k == 0 else f"fitted_level{k}.obj"


def write_fitted(
    fitted: FittedHead, folder: Path | str, unit: str, more: Callable[[Path], list[Path]] | None = None
) -> list[Path]:
    """Write a fitted head to `folder`, positions in `unit`, whole or not at all; the paths, the cage first.

    Finer levels have Moue's own order. `more` gets the folder as it is filled, and gives the paths of what it adds.
    Raises MoueError where the folder cannot be written or holds anything but an earlier fit that nobody has changed
    since, and where the unit is unknown.
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
