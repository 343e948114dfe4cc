"""A library without a document, made ready to be matched: with regions from landmarks, or from what moves together."""

from __future__ import annotations

from pathlib import Path

from composer.document.evaluated import EvaluatedDocument
from composer.edits.lay_regions import laid_regions
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.progress import Progress


def library_project(library: Path, path: Path, progress: Progress | None = None) -> tuple[EvaluatedDocument, list[str]]:
    """The library in a document that is to lie at `path`, made ready, and notes on the regions that it got.

    Raises MoueError where the library cannot be opened, or nothing in it moves.
    """
    head = open_library(library, progress=progress)
    try:
        project, notes = laid_regions(head, path, "landmarks")
    except MoueError:
        project, notes = laid_regions(head, path, "displacement")
        notes.append("No landmarks were found on the head, so its regions are what moves together.")
    return EvaluatedDocument(project, head), [note for note in notes if note not in head.notes]
