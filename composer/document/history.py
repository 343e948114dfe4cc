"""Undo and redo of a project, limited by the bytes that its steps hold; shared arrays count once.

An edit is a function `project -> project`. `apply` makes it one step. While a widget is held, `preview` shows an edit
of the committed project; `commit` makes the last preview one step, and `abort` drops it. An error inside an edit
changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable

from composer.document.project import Project

Edit = Callable[[Project], Project]
DEFAULT_BYTES = 256 << 20
"""The default limit of the history in bytes. A design choice, no source."""


class History:
    """The current project, with the steps to undo and to redo."""

    def __init__(self, project: Project, most_bytes: int = DEFAULT_BYTES) -> None:
        self._steps, self._at = [project], 0
        self._preview: Project | None = None
        self._most = most_bytes
        self._held = HeldBytes()
        self._held.add(project)

    @property
    def project(self) -> Project:
        """The project to show: the preview if there is one."""
        return self._preview or self._steps[self._at]

    @property
    def committed(self) -> Project:
        """The project without a preview."""
        return self._steps[self._at]

    def apply(self, edit: Edit) -> Project:
        """Apply an edit as one step; an edit that changes nothing adds no step."""
        changed = edit(self.committed)
        self._preview = None
        return self._push(changed)

    def preview(self, edit: Edit) -> Project:
        """Show an edit of the committed project; it replaces an earlier preview."""
        self._preview = edit(self.committed)
        return self._preview

    def commit(self) -> Project:
        """Make the preview a step, if there is one."""
        held, self._preview = self._preview, None
        return self._push(held) if held is not None else self.committed

    def abort(self) -> Project:
        """Drop the preview."""
        self._preview = None
        return self.committed

    @property
    def before(self) -> Project:
        """The project one step back; itself where there is none."""
        return self._steps[max(self._at - 1, 0)]

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to undo."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to redo."""
        return self._at + 1 < len(self._steps)

    def undo(self) -> Project:
        """Go one step back, if there is one, and drop the preview."""
        self._preview = None
        self._at = max(self._at - 1, 0)
        return self.committed

    def redo(self) -> Project:
        """Go one step forward, if there is one, and drop the preview."""
        self._preview = None
        self._at = min(self._at + 1, len(self._steps) - 1)
        return self.committed

    @property
    def steps(self) -> tuple[Project, ...]:
        """The project at the beginning and after every step that is kept, those to redo among them."""
        return tuple(self._steps)

    @property
    def at(self) -> int:
        """Which of `steps` the committed project is."""
        return self._at

    def go(self, at: int) -> Project:
        """Go to one of `steps`, and drop the preview; a number outside them goes to the nearest."""
        self._preview = None
        self._at = min(max(at, 0), len(self._steps) - 1)
        return self.committed

    def _push(self, project: Project) -> Project:
        if project is self.committed:
            return project
        for lost in self._steps[self._at + 1 :]:
            self._held.drop(lost)
        del self._steps[self._at + 1 :]
        self._steps.append(project)
        self._held.add(project)
        while len(self._steps) > 2 and self._held.bytes > self._most:
            self._held.drop(self._steps.pop(0))
        self._at = len(self._steps) - 1
        return project


class HeldBytes:
    """Bytes of all arrays and texts of several projects; shared ones count once."""

    def __init__(self) -> None:
        self.bytes = 0
        self._times: dict[int, tuple[object, int]] = {}

    def add(self, project: Project) -> None:
        """Count one more project."""
        for held, size in _things(project):
            _, times = self._times.get(id(held), (held, 0))
            self._times[id(held)] = (held, times + 1)
            self.bytes += size if times == 0 else 0

    def drop(self, project: Project) -> None:
        """Stop counting a project that was added."""
        for held, size in _things(project):
            _, times = self._times.pop(id(held))
            if times > 1:
                self._times[id(held)] = (held, times - 1)
            else:
                self.bytes -= size


def _things(project: Project) -> list[tuple[object, int]]:
    return [(project.text, len(project.text)), *((held, held.nbytes) for held in project.stored.values())]
