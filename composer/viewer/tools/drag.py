"""The drag that is under way: one tool from its press to its release, or taken back without a trace."""

from __future__ import annotations

from composer.viewer.tools.gestures import Abandoned, Point, Tool


class Drag:
    """At most one tool at a time, and the button that began it."""

    def __init__(self) -> None:
        self._tool: Tool | None = None
        self._button = 0

    @property
    def active(self) -> bool:
        """Whether a tool is held."""
        return self._tool is not None

    def begin(self, tool: Tool, button: int) -> None:
        """Begin a tool with the button that was pressed."""
        self._tool, self._button = tool, button
        try:
            next(tool)
        except StopIteration:
            self._tool = None

    def move(self, point: Point) -> None:
        """The pointer has moved."""
        if self._tool is not None:
            try:
                self._tool.send(point)
            except StopIteration:
                self._tool = None

    def release(self, point: Point, button: int) -> None:
        """A button was let go: the tool ends where it is the one that began it."""
        if button == self._button:
            self.move(point)

    def abandon(self) -> None:
        """Take the drag back."""
        tool, self._tool = self._tool, None
        if tool is not None:
            try:
                tool.throw(Abandoned())
            except (StopIteration, Abandoned):
                return
