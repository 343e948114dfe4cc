"""The files of a bare document's arrays: which hold them already, and where changed ones go."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path, PurePosixPath

import numpy as np
from numpy.typing import NDArray

from composer.document.mask_file import read_delta, read_mask
from composer.document.project import Project
from composer.document.stored import with_places
from composer.errors import MoueError
from composer.head.file_names import same_file

NUMBERED = re.compile(r"(.*?)(_\d+)?", re.DOTALL)


def with_new_places(project: Project, path: Path) -> Project:
    """The project at `path` with a place for every array where its file holds it already, or where there is no file."""
    places: dict[str, str] = {}
    taken = {same_file(place) for place in project.stored}
    for place, values in project.stored.items():
        file = path.parent / place
        if file.exists() and not holds(file, values):
            places[place] = _place_for(values, place, path.parent, taken)
            taken.add(same_file(places[place]))
    if not places:
        return project
    moved = with_places(project, places, {})
    return replace(moved, stored={places.get(place, place): held for place, held in project.stored.items()})


def _place_for(values: NDArray, place: str, folder: Path, taken: set[str]) -> str:
    """A place of the same name but for its number, that nobody has taken: one that holds the values, or none."""
    plain = PurePosixPath(place)
    match = NUMBERED.fullmatch(plain.stem)
    stem = match[1] if match is not None and match[1] else plain.stem
    number = 1
    while True:
        free = str(plain.with_name(f"{stem}{f'_{number}' if number > 1 else ''}{plain.suffix}"))
        if same_file(free) not in taken and (not (folder / free).exists() or holds(folder / free, values)):
            return free
        number += 1


def holds(file: Path, values: NDArray) -> bool:
    """Whether a file already holds these values as float32; it is then not written."""
    if not file.exists():
        return False
    try:
        held = read_delta(file) if values.ndim == 2 else read_mask(file)
    except MoueError:
        return False
    return np.array_equal(held.astype(np.float32), np.asarray(values, dtype=np.float32))
