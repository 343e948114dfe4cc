"""Which sheets lie over the window, and what they are about."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from composer.document.autosave import Waiting


@dataclass
class Dialogs:
    """Which sheets lie over the window. `leave` asks about `at_stake`, what would be lost; `ask` is done afterwards,
    and `without` names the button that does it without saving."""

    keys: bool = False
    bake: bool = False
    leave: bool = False
    without: str = "Discard"
    at_stake: dict[str, str] = field(default_factory=dict)
    ask: Callable[[], None] | None = None
    save_as: bool = False
    open_path: bool = False
    path_for: tuple[str, str, Callable[[Path], None]] | None = None
    dropped: Path | None = None
    waiting: Waiting | None = None
    findings: bool = False
    about: bool = False
    match: bool = False
    picture: bool = False
    match_take: bool = False

    @property
    def any_open(self) -> bool:
        """Whether a sheet lies over the window, which keys then leave alone."""
        asking = self.leave or self.save_as or self.open_path or bool(self.path_for) or self.waiting is not None
        asking = asking or self.dropped is not None
        return self.keys or self.bake or self.match or self.match_take or self.about or self.picture or asking
