"""The neutral of a large head, looked at while its shapes are read and its regions found; shapes join it as they come.

It is a session like any other, but nothing can be edited in it, so nothing can be lost: it gives its place to the whole
head when that is there, and what was open before comes back where it never comes.
"""

from __future__ import annotations

from composer.head.understand.veils import veils_of
from composer.viewer.render.picking import Picker
from composer.viewer.session.keeping import Keeping
from composer.viewer.session.looking import look_from
from composer.viewer.session.opening import Opened
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage


class FirstLook:
    """The first look at what one job opens. `hand` is called by the job, everything else on the frame loop."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._ready: tuple[Session, Picker] | None = None
        self._grown: Opened | None = None
        self._begun = False
        self._before: tuple[Session | None, Picker | None, Keeping | None] = (None, None, None)
        self._project = None if stage.session is None else stage.session.history.committed
        self._opened = stage.session
        self.session: Session | None = None

    def hand(self, opened: Opened) -> None:
        """Make a neutral ready and hand it to the frame loop; afterwards the same with more of its shapes."""
        if self._begun:
            self._grown = opened
            return
        session = Session(opened, arriving=True)
        self._ready, self._begun = (session, Picker(session.head)), True

    def step(self) -> None:
        """Show the neutral once it is there, not over what was edited since, or was opened since; then its shapes."""
        self._show()
        grown, self._grown = (self._grown, None) if self.is_shown else (None, self._grown)
        if grown is not None and self.session is not None:
            self.session.evaluated = grown.evaluated  # more of its shapes; all else is as it was

    def _show(self) -> None:
        ready, self._ready = self._ready, None
        stage = self._stage
        if ready is None or stage.session is not self._opened or self.session is not None:
            return
        if stage.session is not None and stage.session.history.committed is not self._project:
            return
        self._before = stage.session, stage.picker, stage.keeping
        self.session, stage.picker = ready
        stage.session, stage.keeping = self.session, None
        stage.overlay, stage.place, stage.hidden = "none", "mix", veils_of(self.session.head)
        look_from(stage, "front", at_once=True)

    @property
    def is_shown(self) -> bool:
        """Whether the neutral stands in the window."""
        return self.session is not None and self._stage.session is self.session

    def take_back(self) -> None:
        """What was open before is open again."""
        if not self.is_shown:
            return
        stage = self._stage
        stage.session, stage.picker, stage.keeping = self._before
        if stage.session is not None:
            stage.hidden = veils_of(stage.session.head)
            look_from(stage, "front", at_once=True)
