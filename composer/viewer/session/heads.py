"""The heads that an open document has had, each ready to mix, so that undo and redo go from one to another."""

from __future__ import annotations

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project


class Heads:
    """The last evaluated state of a document on each head that it has had since it was opened."""

    def __init__(self, evaluated: EvaluatedDocument) -> None:
        self._last = {_head_of(evaluated.project): evaluated}

    def know(self, evaluated: EvaluatedDocument) -> None:
        """Remember the latest state on its head."""
        self._last[_head_of(evaluated.project)] = evaluated

    def again(self, project: Project) -> EvaluatedDocument:
        """The project evaluated from the latest state on its head. Raises MoueError as `EvaluatedDocument.again`, and
        where its head was never known and cannot be opened."""
        before = self._last.get(_head_of(project))
        return EvaluatedDocument.open(project) if before is None else before.again(project)


def _head_of(project: Project) -> tuple[str, str | None, str | None]:
    return str(project.head_path.resolve()), project.neutral, project.unit
