"""A library without a document, prepared for matching, with regions from landmarks or else from displacement."""

from __future__ import annotations

from pathlib import Path

from composer.document.evaluated import EvaluatedDocument
from composer.edits.lay_regions import laid_regions
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.progress import Progress


def library_project(library: Path, path: Path, progress: Progress | None = None) -> tuple[EvaluatedDocument, list[str]]:
    """The library in a new document, to be saved at `path`, evaluated, and notes on its regions.

    Raises MoueError where the library cannot be opened, or nothing in it moves.
    """
    head = open_library(library, progress=progress)
    try:
        project, notes = laid_regions(head, path, "landmarks")
    except MoueError:
        project, notes = laid_regions(head, path, "displacement")
        notes.append("No landmarks were found on the head, so its regions come from displacement.")
    return EvaluatedDocument(project, head), [note for note in notes if note not in head.notes]
