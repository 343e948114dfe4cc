"""Undo and redo of a project, capped by the bytes that its steps hold beyond what they share.

An edit is `project -> project`. `apply` makes one step of it. While a widget is held, `preview` shows an edit of
the project as it was before, and `commit` makes one step of the last preview or `abort` forgets it. An error inside
an edit leaves everything as it was.
"""

from __future__ import annotations

from collections.abc import Callable

from composer.document.project import Project

Edit = Callable[[Project], Project]
DEFAULT_BYTES = 256 << 20


class History:
    """The project now, and the steps behind and before it."""

    def __init__(self, project: Project, most_bytes: int = DEFAULT_BYTES) -> None:
        self._steps, self._at = [project], 0
        self._preview: Project | None = None
        self._most = most_bytes
        self._held = HeldBytes()
        self._held.add(project)

    @property
    def project(self) -> Project:
        """What is shown: the preview while there is one."""
        return self._preview or self._steps[self._at]

    @property
    def committed(self) -> Project:
        """The project without a preview."""
        return self._steps[self._at]

    def apply(self, edit: Edit) -> Project:
        """Do an edit as one step; an edit that changes nothing is no step."""
        changed = edit(self.committed)
        self._preview = None
        return self._push(changed)

    def preview(self, edit: Edit) -> Project:
        """Show an edit of the committed project, in place of any preview before."""
        self._preview = edit(self.committed)
        return self._preview

    def commit(self) -> Project:
        """Make one step of the preview, if there is one."""
        held, self._preview = self._preview, None
        return self._push(held) if held is not None else self.committed

    def abort(self) -> Project:
        """Forget the preview."""
        self._preview = None
        return self.committed

    @property
    def before(self) -> Project:
        """The project one step back; itself where there is none."""
        return self._steps[max(self._at - 1, 0)]

    @property
    def can_undo(self) -> bool:
        """Whether there is a step behind."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """Whether there is a step before."""
        return self._at + 1 < len(self._steps)

    def undo(self) -> Project:
        """One step back, or where it is; a preview is forgotten."""
        self._preview = None
        self._at = max(self._at - 1, 0)
        return self.committed

    def redo(self) -> Project:
        """One step forward, or where it is; a preview is forgotten."""
        self._preview = None
        self._at = min(self._at + 1, len(self._steps) - 1)
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
    """Bytes of all arrays and texts that some projects hold, a shared one counted once."""

    def __init__(self) -> None:
        self.bytes = 0
        self._times: dict[int, tuple[object, int]] = {}

    def add(self, project: Project) -> None:
        """Count one more project."""
        for thing, size in _things(project):
            _, times = self._times.get(id(thing), (thing, 0))
            self._times[id(thing)] = (thing, times + 1)
            self.bytes += size if times == 0 else 0

    def drop(self, project: Project) -> None:
        """Count a project no more that was added before."""
        for thing, size in _things(project):
            _, times = self._times.pop(id(thing))
            if times > 1:
                self._times[id(thing)] = (thing, times - 1)
            else:
                self.bytes -= size


def _things(project: Project) -> list[tuple[object, int]]:
    return [(project.text, len(project.text)), *((held, held.nbytes) for held in project.stored.values())]
