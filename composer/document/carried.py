"""A library or a document carried from an old head to a new head of the same topology, as a new folder.

`composer.document.carried_project` says what becomes of a document, `carried_files` writes the library and its levels.
The result is written to a temporary folder and moved to its place in one step, or not at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from numpy.typing import NDArray

from composer.document.carried_beside import copied_beside
from composer.document.carried_files import LIBRARY, check_names, library_path, write_levels, write_library
from composer.document.carried_project import carried_project
from composer.document.evaluated import EvaluatedDocument
from composer.document.part_table import part_table
from composer.document.project import Project
from composer.document.store import open_document, save_document
from composer.document.stored import with_beside_files
from composer.fitting.amplitude import Amplitude
from composer.fitting.carry import Way
from composer.fitting.carry_head import HeadCarrier, carried_head
from composer.fitting.met import Met
from composer.head.fingerprint import fingerprint
from composer.head.head import Head
from composer.head.new_folder import filled_whole
from composer.head.turning import standing_as
from composer.progress import Progress

MANIFEST = "moue-carry.json"


def carry_library(
    head: Head, fitted: Head, folder: Path | str, *, way: Way = "gradient", ways: Mapping[str, Way] | None = None,
    contact: bool = True, amplitude: Amplitude = "auto", met: dict[str, list[Met]] | None = None,
    progress: Progress | None = None,
) -> Head:  # fmt: skip
    """Carry a bare library to the fitted head and write it to `folder`, with its own file names and landmarks.

    `fitted` is a head of the same topology. If it was read from an OBJ, targets are that text with other vertices. All
    are in the fitted head's unit. `met`, if given, is filled with how lips and lids close in each shape. Returns the
    carried head. Raises MoueError as `HeadCarrier`, where `folder` holds anything but an unchanged earlier carry, and
    where it cannot be written; nothing is written then.
    """
    check_names(head)
    fitted, _ = standing_as(head, fitted)
    carrier = HeadCarrier(head, fitted, way, ways, contact, amplitude)
    made = carried_head(carrier, part_of(progress, 0.0, 0.7))
    _tell(carrier, met)
    with filled_whole(folder, MANIFEST, "carry") as beside:
        write_library(made, beside, head, part_of(progress, 0.7, 1.0))
    return made.with_(path=Path(folder))


def carry_document(
    evaluated: EvaluatedDocument, fitted: Head, folder: Path | str, *, way: Way = "gradient",
    ways: Mapping[str, Way] | None = None,
    contact: bool = True, amplitude: Amplitude = "auto", finer: Mapping[int, NDArray] | None = None,
    met: dict[str, list[Met]] | None = None,
    progress: Progress | None = None,
) -> Project:  # fmt: skip
    """Carry an open document to the fitted head: `folder` gets the document under its own name, its library in
    `library`, its levels in `levelK`. Returns the new document, read back.

    `finer` gives the fitted head's own neutral (n_k, 3) mm at some levels, vertices in Moue's order; `met` as
    `carry_library`.

    Raises MoueError as `carry_library`; nothing is written then.
    """
    check_names(evaluated.library, bool(evaluated.project.levels or finer))
    fitted, finer = standing_as(evaluated.library, fitted, finer)
    carrier = HeadCarrier(whole_head(evaluated), fitted, way, ways, contact, amplitude)
    made = carried_head(carrier, part_of(progress, 0.0, 0.6))
    _tell(carrier, met)
    name = evaluated.project.path.name
    with filled_whole(folder, MANIFEST, "carry") as beside:
        write_library(made, beside / LIBRARY, evaluated.library, part_of(progress, 0.6, 0.75))
        levels = write_levels(evaluated, made, beside, finer, carrier.scale, part_of(progress, 0.75, 0.95))
        head_path = library_path(evaluated.library, beside / LIBRARY)
        project = carried_project(evaluated, carrier, made, beside / name, head_path, levels)
        project = with_beside_files(project, copied_beside(evaluated.project, project, beside))
        save_document(project, beside / name)
        EvaluatedDocument.open(open_document(beside / name))  # an error here leaves nothing behind
    if progress is not None:
        progress(1.0, name)
    return open_document(Path(folder) / name)


def bare_document(library: Head, path: Path) -> EvaluatedDocument:
    """A library as a document without regions or recipes, to lie at `path`, so that it can have finer levels."""
    parts = {part.name: part_table(part, library) for part in library.parts}
    project = Project(
        path, library.path or path.parent, library.unit, library.neutral_name, fingerprint(library.polygons),
        parts=parts,
    )  # fmt: skip
    return EvaluatedDocument(project, library)


def _tell(carrier: HeadCarrier, met: dict[str, list[Met]] | None) -> None:
    if met is not None:
        met.update(carrier.met)


def whole_head(evaluated: EvaluatedDocument) -> Head:
    """The head from which a document is carried: its library's own shapes, with the document's parts and landmarks."""
    return evaluated.library.with_(parts=evaluated.head.parts, landmarks=evaluated.head.landmarks)


def part_of(progress: Progress | None, low: float, high: float) -> Callable[[float, str], None] | None:
    """Progress that runs from `low` to `high` of the whole."""
    if progress is None:
        return None
    return lambda fraction, words: progress(low + (high - low) * fraction, words)
