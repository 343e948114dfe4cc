"""Another head in the place of a document's head, in one step: the document stays, its library is carried over.

The new head has the old one's topology: a fitted head, or the pose of a recipe (`neutral_of_recipe`). The library
carried onto it is written whole to `heads/NAME` beside the document, and the old head stays known as an earlier one
(`composer.document.earlier_heads`). Nothing of the old head's files is written, so going back to the project before
needs no more than that project.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import count
from pathlib import Path

from numpy.typing import NDArray

from composer.document.autosave import says_the_same
from composer.document.carried import part_of, whole_head
from composer.document.carried_files import LIBRARY, check_names, library_path, write_levels, write_library
from composer.document.carried_project import carried_project
from composer.document.evaluated import EvaluatedDocument
from composer.document.project import EarlierFile, Project
from composer.document.store import open_document, save_document
from composer.edits.names import free_name
from composer.edits.swapped import Swapped, swapped
from composer.errors import MoueError
from composer.fitting.carry import Way
from composer.fitting.carry_head import HeadCarrier, carried_head
from composer.formats.library import targets_in
from composer.head.file_names import file_names
from composer.head.folders import is_there
from composer.head.head import Head
from composer.head.new_folder import filled_or_same
from composer.head.turning import standing_as
from composer.progress import Progress

HEADS = "heads"
"""The folder beside a document that holds the heads swapped into it."""
BEFORE = "before"
"""The document as it was before a swap, in the folder of the head that came: a `.moue`."""


def swap_head(
    evaluated: EvaluatedDocument, fitted: Head, *, name: str | None = None,
    finer: Mapping[int, NDArray] | None = None, way: Way = "gradient", ways: Mapping[str, Way] | None = None,
    contact: bool = True, progress: Progress | None = None,
) -> Swapped:  # fmt: skip
    """Put the head `fitted` in the place of the document's head, with the library carried onto it.

    `fitted` has the topology and order of the old head; its shapes are not used. `name` is that of its folder, by
    default the head's own. `finer` gives its neutral (n_k, 3) mm at levels above 0, vertices in Moue's order. `way`,
    `ways` and `contact` are those of a carry. The document is not saved.

    Raises MoueError as `HeadCarrier`, and where the folder cannot be written; nothing is written then.
    """
    say: Progress = progress or (lambda fraction, words: None)
    old, library = evaluated.project, evaluated.library
    check_names(library, bool(old.levels or finer))
    fitted, finer = standing_as(library, fitted, finer)
    carrier = HeadCarrier(whole_head(evaluated), fitted, way, ways, contact)
    made = carried_head(carrier, part_of(say, 0.0, 0.5))
    levels: dict[int, Path] = {}

    def fill(beside: Path) -> None:
        write_library(made, beside, library, part_of(say, 0.5, 0.65))
        levels.update(write_levels(evaluated, made, beside, finer, carrier.scale, part_of(say, 0.65, 0.85)))

    folder, is_new = filled_or_same(_folders(old.path.parent / HEADS, name or fitted.name), fill, f"{BEFORE}*.moue")
    try:
        project = carried_project(
            evaluated, carrier, made, old.path, library_path(library, folder),
            {k: folder / place.name for k, place in levels.items()},
        )  # fmt: skip
        project = with_earlier_file(project, name_of(evaluated), library, [*made.shape_names, made.neutral_name])
        opened = EvaluatedDocument.open(project, part_of(say, 0.85, 1.0))
    except BaseException:
        if is_new:
            shutil.rmtree(folder, ignore_errors=True)
        raise
    return swapped(evaluated, opened, folder, carrier, finer)


def copy_before(project: Project, folder: Path) -> Path:
    """Save a copy of a document in the folder of the head that is swapped in; where it is. A copy of something else
    that is there stays, and this one gets a number. Raises MoueError where it cannot be written."""
    places = (folder / f"{name}.moue" for name in _numbered(BEFORE))
    place = next(place for place in places if not is_there(place) or _holds(place, project))
    save_document(project, place)
    return place


def _holds(place: Path, project: Project) -> bool:
    try:
        return says_the_same(open_document(place), project)
    except MoueError:
        return False


def name_of(evaluated: EvaluatedDocument) -> str:
    """What a document's head is called: its folder or file, or the folder above where that is a carried library's."""
    place = evaluated.project.head_path
    if place.name == LIBRARY or place.parent.parent.name == HEADS:
        return place.parent.resolve().name
    return evaluated.library.name


def with_earlier_file(project: Project, name: str, library: Head, taken: list[str]) -> Project:
    """The project with a library's neutral as an earlier head, under a name that no shape and no earlier head has; the
    project itself where its file is one already, or the library lies in no file."""
    file = _neutral_file(library)
    if file is None or any(each.path.resolve() == file.resolve() for each in project.earlier.values()):
        return project
    known = [*taken, *project.shapes, *project.earlier]
    if name.casefold() in {each.casefold() for each in known}:
        name = free_name(name, known)
    name = file_names([name])[name]
    return replace(project, earlier={**project.earlier, name: EarlierFile(file, library.unit)})


def _neutral_file(library: Head) -> Path | None:
    if library.neutral_file is not None:
        return library.neutral_file
    if library.path is None or library.path.is_file():
        return library.path
    return next((file for file in targets_in(library.path) if file.stem == library.neutral_name), None)


def _folders(heads: Path, name: str) -> Iterator[Path]:
    """The folder of a head's name in `heads`, then the same with a number, without end."""
    return (heads / stem for stem in _numbered(file_names([name])[name]))


def _numbered(stem: str) -> Iterator[str]:
    """The stem, then the same with a number from 2 on, without end."""
    yield stem
    yield from (f"{stem}_{number}" for number in count(2))
