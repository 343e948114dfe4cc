"""Hinges that a document asks for as "auto" are estimated once, at the first bake, and then kept in it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from composer.document.evaluated import EvaluatedDocument
    from composer.document.project import Project


def keep_hinges(project: Project, evaluated: EvaluatedDocument, document: Path) -> None:
    """Save the hinges that were estimated for `project` in its file `document`; what came of it is added to the notes
    of `evaluated`."""
    from composer.document.hinges import settled
    from composer.document.store import save_document
    from composer.errors import MoueError

    kept, rigidities, notes = settled(project, evaluated.head, evaluated.hinges)
    if kept is project:
        return
    try:
        save_document(kept, document, rigidities)
        evaluated.notes += [*notes, f"The estimated hinges were saved in {document}."]
    except MoueError as error:
        evaluated.notes += [*notes, f"The estimated hinges could not be saved in the document: {error}."]
