"""The demo as one window has opened it, kept for the windows after it.

Reading the demo's forty files, making its forty masks and looking for hollows takes over half of the processor time
that opening it takes. A document on the library that all workers of a run share is opened anew as an edit would be: by
`EvaluatedDocument.again`, whose promise, the same as a fresh one, is other tests' business. Any other library is read.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from tests import made_once

_opened: dict[object, Any] = {}
_hollows: list[tuple[Any, Any]] = []
MOST = 4


def _state(library: Path) -> tuple[object, ...]:
    """What tells one state of a folder's files from another."""
    files = library.rglob("*")
    return tuple(sorted((str(file), file.stat().st_size, file.stat().st_mtime_ns) for file in files))


def keep_heads(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let windows take the common demo as an earlier window of this process has opened it."""
    from composer.document.evaluated import EvaluatedDocument
    from composer.viewer.scene import drawing

    fresh, look_for_hollows = EvaluatedDocument.open.__func__, drawing.hollows_of  # type: ignore[attr-defined]

    def opened(cls: Any, project: Any, progress: Any = None, told: Any = None) -> Any:
        common = os.environ.get(made_once.FOLDER)
        if not common or not project.head_path.is_relative_to(common) or not project.head_path.is_dir():
            return fresh(cls, project, progress, told)
        key = project.path, project.neutral, project.unit, project.axes, _state(project.head_path)
        if key not in _opened:
            _opened[key] = fresh(cls, project, progress, told)
        return _opened[key].again(project)

    def hollows(head: Any, progress: Any) -> Any:
        found = next((made for of, made in _hollows if of is head), None)
        if found is None:
            found = look_for_hollows(head, progress)
            _hollows[:] = [*_hollows[1 - MOST :], (head, found)]
        return found

    monkeypatch.setattr(EvaluatedDocument, "open", classmethod(opened))
    monkeypatch.setattr(drawing, "hollows_of", hollows)
