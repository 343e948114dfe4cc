"""Where Tab stops, over all panels: from the last control of one panel it goes on to the first of the next."""

from __future__ import annotations

from dataclasses import dataclass, field

Stop = tuple[str, str]
"""A panel and the name of a control in it."""


@dataclass
class Stops:
    """The stops of the frame that is drawn and of the one before, in the order in which they are drawn; which of them
    has the keyboard; and the one that is to have it next."""

    panel: str = ""
    _now: list[Stop] = field(default_factory=list)
    _before: list[Stop] = field(default_factory=list)
    _has: Stop | None = None
    _had: Stop | None = None
    _next: Stop | None = None

    def begin(self) -> None:
        """A frame begins."""
        self._before, self._now = self._now, []
        self._had, self._has, self.panel = self._has, None, ""

    @property
    def has(self) -> Stop | None:
        """The control that has the keyboard, None for none that is known."""
        return self._has or self._had

    def at(self, name: str, has: bool) -> None:
        """A control is drawn, and has the keyboard or has not."""
        if self.panel:
            self._now.append((self.panel, name))
            if has:
                self._has = (self.panel, name)

    def wanted(self, name: str) -> bool:
        """Whether the control that was just drawn is to have the keyboard; asked once."""
        if self._next != (self.panel, name):
            return False
        self._next = None
        return True

    def go_to(self, stop: Stop) -> None:
        """A control takes the keyboard where it is drawn next."""
        self._next = stop

    def next_panel(self, order: list[str], back: bool) -> bool:
        """Ctrl and Tab was pressed, `back` with Shift: the first control of the next panel of the `order` takes the
        keyboard; whether there is one."""
        drawn = self._now or self._before
        panels = [name for name in order if any(panel == name for panel, _ in drawn)]
        if not panels:
            return False
        at = panels.index(self.has[0]) if self.has is not None and self.has[0] in panels else -1 if not back else 0
        panel = panels[(at + (-1 if back else 1)) % len(panels)]
        self._next = next(stop for stop in drawn if stop[0] == panel)
        return True

    def leave(self, order: list[str], back: bool, walking: bool) -> bool:
        """Tab was pressed, `back` with Shift: whether it leaves its panel, and the next one of the `order` takes the
        keyboard. `walking` says that some control has the keyboard, known here or not."""
        drawn = self._now or self._before
        has = self.has
        panels = [name for name in order if any(panel == name for panel, _ in drawn)]
        if not panels:
            return False
        if walking and (has is None or has not in drawn or has[0] not in panels):
            return False
        if not walking or has is None:
            self._next = next(stop for stop in (reversed(drawn) if back else drawn) if stop[0] == panels[-back])
            return True
        own = [stop for stop in drawn if stop[0] == has[0]]
        if has != own[0 if back else -1]:
            return False
        panel = panels[(panels.index(has[0]) + (-1 if back else 1)) % len(panels)]
        self._next = next(stop for stop in (reversed(drawn) if back else drawn) if stop[0] == panel)
        return True
