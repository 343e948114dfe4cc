"""The state of the window, without a window: the session, the eye, the place, overlays, messages.

Panels and tools read and change a `Stage`; the window draws it. Tests make one with no screen at all.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.document.evaluated import EvaluatedDocument
from composer.document.history import Edit
from composer.document.project import Project
from composer.errors import MoueError
from composer.head.places import SurfacePoint
from composer.mixing.recipe import Cell, Recipe, Row
from composer.picture.lamps import FOLLOWING
from composer.viewer.new_head.both_surfaces import LIBRARY
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.render.camera import Eye, between
from composer.viewer.render.picking import SKIN, Hit, Picker
from composer.viewer.session.compare import Compare
from composer.viewer.session.dialogs import Dialogs
from composer.viewer.session.keeping import Keeping
from composer.viewer.session.kept_marks import KeepingMarks
from composer.viewer.session.others import Others
from composer.viewer.session.places import OVERLAYS, Overlay, Place
from composer.viewer.session.ready_contact import keep_ready
from composer.viewer.session.reference_pictures import ReferencePictures
from composer.viewer.session.session import Session
from composer.viewer.session.settings import Settings
from composer.viewer.session.work import Work
from composer.viewer.ui.room import Room

WORDS_SECONDS = 6.0
MOVE_SECONDS = 0.25
JOINING = "Joining seamlessly"


@dataclass(frozen=True)
class Words:
    """A line told to the person; `kind` is "note", "done" or "wrong"; a press on it opens a `place`, if it has one.
    `press` is a button beside it, its words and what it does."""

    text: str
    kind: str
    until: float
    place: Place | None = None
    press: tuple[str, Callable[[], object]] | None = None


@dataclass
class Stage:
    """The window's state; the `view` of the head in points, (left, top, width, height), and the `whole_view`, which is
    wider where another pose stands beside; `asked_place` corners and weights of the place that is asked about."""

    settings: Settings = field(default_factory=Settings)
    session: Session | None = None
    place: Place = "mix"
    overlay: Overlay = "none"
    wire: bool = False
    light: str = FOLLOWING
    hidden: frozenset[str] = frozenset()
    eye: Eye | None = None
    view: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 1.0)
    pointer: tuple[float, float] = (-1.0, -1.0)
    hit: Hit | None = None
    words: list[Words] = field(default_factory=list)
    dialogs: Dialogs = field(default_factory=Dialogs)
    closing: bool = False
    carried_shape: str = ""
    copied_cells: tuple[Cell, ...] = ()
    copied_row: tuple[tuple[Cell, ...], Row] | None = None
    peeking: bool = False
    landmark: str = ""
    moved_mark: tuple[str, SurfacePoint] | None = None
    moved_line: tuple[SurfacePoint, ...] = ()
    new_head: NewHead | None = None
    finding: Finding | None = None
    shown_of_new: str = "sculpt"
    painted_zone: NDArray | None = None
    piece: tuple[NDArray, bool] | None = None
    distance_heat: bool = False
    pointed: str = ""
    compare: Compare = field(default_factory=Compare)
    asked_place: tuple[NDArray, NDArray] | None = None
    whole_view: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 1.0)
    room: Room = Room(0.0, 0.0, 0.0, frozenset())
    asked_side: str = ""
    time_shown: bool = False
    on_board: Recipe | None = None
    references: ReferencePictures = field(default_factory=ReferencePictures)
    clock: Callable[[], float] = time.monotonic

    def __post_init__(self) -> None:
        self.work = Work(lambda text: self.say(text, "wrong"))
        self.picker: Picker | None = None
        self.keeping: Keeping | None = None
        self.keeping_marks: KeepingMarks | None = None
        self.others: Others | None = None
        self._from: tuple[Eye, Eye, float] | None = None

    def overlays(self, has_texture: bool) -> dict[Overlay, tuple[str, str]]:
        """What can be laid over the head as it is: its words and what they mean."""
        usable = {"skin": has_texture, "left": self.session is not None and self.session.target is not None}
        return {name: words for name, words in OVERLAYS.items() if usable.get(name, True)}

    def watch_others(self) -> None:
        """Watch what others do with the document that is open now."""
        keeping = self.keeping

        def marked(mark: str) -> None:
            if keeping is not None:
                keeping.mark = mark

        self.others = Others(self.opened, self.work, self.others, marked)

    @property
    def opened(self) -> Session:
        """The session that is open; asked only where there is one."""
        assert self.session is not None
        return self.session

    @property
    def seen_recipe(self) -> Recipe:
        """The recipe whose weights the face shows: the open one, or what is tried in its place."""
        return self.opened.recipe if self.on_board is None else self.on_board

    # Words.

    def say(
        self, text: str, kind: str = "note", place: Place | None = None,
        press: tuple[str, Callable[[], object]] | None = None,
    ) -> None:  # fmt: skip
        """Tell one line; it stays for a while; a line that leads to a `place` or has a button to `press` until it is
        pressed or the next such line comes, a fault until it is pressed or something succeeds."""
        if kind == "done":
            self._no_faults()
        self.words = [w for w in self.words if w.text != text and (press is None or w.press is None)][-3:]
        stays = kind == "wrong" or place is not None or press is not None
        self.words.append(Words(text, kind, self.clock() + (1e9 if stays else WORDS_SECONDS), place, press))

    def do(self, edit: Edit, words: str = "") -> bool:
        """Apply an edit to what is open, telling what went wrong; whether it was done."""
        session = self.opened
        done = self.guard(lambda: session.apply(edit), words)
        if done:
            self._no_faults()
        return done

    def fault_of(self, edit: Edit, words: str = "") -> str:
        """Apply an edit; what went wrong, for the field that it came from, "" where it was done."""
        try:
            self.opened.apply(edit)
        except MoueError as error:
            return self._words_of(error)
        self._no_faults()
        if words:
            self.say(words, "done")
        return ""

    def _no_faults(self) -> None:
        """Something went well: what went wrong before it is over."""
        self.words = [w for w in self.words if w.kind != "wrong"]

    def do_later(self, edit: Edit, words: str) -> None:
        """Apply an edit that takes long: the masks are made beside the frame loop, and the step is done when they are
        there, unless something else has been edited meanwhile: then it is tried again on top of that."""
        session = self.opened
        base = session.history.committed

        def done(prepared: tuple[Project, EvaluatedDocument]) -> None:
            if self.session is not session:
                return
            if session.history.committed is base:
                self.guard(lambda: session.take(*prepared))
            else:
                self.do_later(edit, words)

        self.work.begin(words, lambda progress: session.prepared(edit), done, quiet=True)

    def guard(self, call: Callable[[], object], words: str = "") -> bool:
        """Call something that may refuse, telling why it does; whether it was done."""
        try:
            call()
        except MoueError as error:
            self.say(self._words_of(error), "wrong")
            return False
        if words:
            self.say(words, "done")
        return True

    def _words_of(self, error: MoueError) -> str:
        """What an edit of the open document could not do, without the document's own path: the fault is not there."""
        session = self.session
        if session is None or error.where not in (session.project.path, session.file, session.head.path):
            return str(error)
        words = str(MoueError(error.what, hint=error.hint))
        return words[:1].upper() + words[1:]

    # Steps.

    def undo(self) -> None:
        """One step back: of the new head's landmarks in their place, of the document elsewhere."""
        if self.place == "new" and self.new_head is not None:
            self.new_head.undo()
        else:
            self.opened.undo()

    def redo(self) -> None:
        """One step forward, as `undo`."""
        if self.place == "new" and self.new_head is not None:
            self.new_head.redo()
        else:
            self.opened.redo()

    # The eye.

    @property
    def view_size(self) -> tuple[int, int]:
        """Width and height of the view in points."""
        return max(int(self.view[2]), 1), max(int(self.view[3]), 1)

    def go(self, eye: Eye, at_once: bool = False) -> None:
        """Move the eye to another one, in a moment or at once."""
        self._from = None if at_once or self.eye is None else (self.eye, eye, self.clock())
        if self._from is None:
            self.eye = eye

    def step(self) -> bool:
        """Advance by a frame: end jobs, fade messages, move the eye. Whether the eye or the pose still moves."""
        self.work.poll()
        session = self.session
        if session is not None and session.join_missing and all(job.name != JOINING for job in self.work.jobs):
            parted = not session.contact_missing
            self.work.begin(JOINING, lambda progress: session.join(parted), session.take_join, quiet=True)
        if session is not None:
            keep_ready(self.work, session, lambda words: self.say(words, "wrong"))
        now = self.clock()
        joining = session is not None and session.step(now)
        self.words = [w for w in self.words if w.until > now and w.place != self.place]
        if self._from is not None:
            start, end, since = self._from
            t = min((now - since) / MOVE_SECONDS, 1.0)
            self.eye = between(start, end, t * t * (3.0 - 2.0 * t))
            if t >= 1.0:
                self._from, self.eye = None, end
        return joining or self.eye_moves

    def turn(self, eye: Eye) -> None:
        """Set the eye by hand; a move under way ends."""
        self._from, self.eye = None, eye

    @property
    def eye_moves(self) -> bool:
        """Whether the eye is on its way to another place."""
        return self._from is not None

    def in_view(self, x: float, y: float) -> bool:
        """Whether a place of the window (points, y from the top) lies in the view."""
        left, top, width, height = self.view
        return left <= x < left + width and top <= y < top + height

    @property
    def hidden_of_new(self) -> frozenset[str]:
        """What of the sculpt ("skin") and the library on it is not shown."""
        return {"sculpt": frozenset({LIBRARY}), "cage": frozenset({SKIN})}.get(self.shown_of_new, frozenset())

    def hide_part(self, name: str) -> None:
        """Hide a part, or show it again."""
        self.hidden = self.hidden ^ {name}

    def alone(self, name: str, names: list[str]) -> None:
        """Show one part alone, or all again where it is alone already."""
        others = frozenset(names) - {name}
        self.hidden = frozenset() if self.hidden == others else others
