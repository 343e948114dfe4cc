"""What the window shows and how it stands, without a window: the session, the eye, the place, overlays, words.

Panels and tools read and change a `Stage`; the window draws it. Tests make one with no screen at all.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np

from composer.checks.finding import Finding
from composer.document.autosave import Waiting
from composer.document.evaluated import EvaluatedDocument
from composer.document.history import Edit
from composer.document.project import Project
from composer.document.store import save_document
from composer.errors import MoueError
from composer.head.places import SurfacePoint
from composer.head.understand.veils import veils_of
from composer.mixing.recipe import Cell, Row
from composer.progress import Progress
from composer.viewer.new_head.new_head import LIBRARY, NewHead
from composer.viewer.render.camera import Eye, between, framed, named_eye
from composer.viewer.render.picking import SKIN, Hit, Picker
from composer.viewer.session.keeping import Keeping, waiting_for
from composer.viewer.session.kept_marks import KeepingMarks
from composer.viewer.session.opening import Opened, open_new_head, open_path, open_recovered
from composer.viewer.session.session import Session
from composer.viewer.session.settings import Settings
from composer.viewer.session.work import Work

Place = Literal["mix", "paint", "marks", "new"]
PLACES: dict[Place, str] = {"mix": "Mix", "paint": "Paint", "marks": "Landmarks", "new": "New head"}
Overlay = Literal["none", "regions", "mask", "strain", "movement", "difference", "left", "skin"]
OVERLAYS: dict[Overlay, tuple[str, str]] = {
    "none": ("Plain", "the head as it is"),
    "regions": ("Regions", "every region in a colour and with its number"),
    "mask": ("Mask", "the effective mask of the chosen region, as heat"),
    "strain": ("Strain", "how much the skin is stretched or pressed"),
    "movement": ("Movement", "how far the skin has moved from the neutral"),
    "difference": ("A to B", "how far A and B lie apart"),
    "left": ("To the target", "how far the pose lies from the target that was matched"),
    "skin": ("Skin", "the texture that lies beside the head"),
}
VIEWS = {"front": "Front", "three_quarter": "Three quarter", "profile": "Side", "below": "Below"}
WORDS_SECONDS = 6.0
MOVE_SECONDS = 0.25
OPENING = "Opening "
JOINING = "Joining seamlessly"


@dataclass(frozen=True)
class Words:
    """A line told to the person; `kind` is "note", "done" or "wrong"."""

    text: str
    kind: str
    until: float


@dataclass
class Dialogs:
    """Which sheets lie over the window."""

    keys: bool = False
    bake: bool = False
    leave: bool = False
    at_stake: dict[str, str] = field(default_factory=dict)
    ask: Callable[[], None] | None = None
    save_as: bool = False
    open_path: bool = False
    path_for: tuple[str, str, Callable[[Path], None]] | None = None
    waiting: Waiting | None = None
    findings: bool = False
    match: bool = False

    @property
    def any_open(self) -> bool:
        """Whether a sheet lies over the window, which keys then leave alone."""
        asking = self.leave or self.save_as or self.open_path or bool(self.path_for) or self.waiting is not None
        return self.keys or self.bake or self.match or asking


@dataclass
class Stage:
    """The window's state; `size` of the view in points, (left, top, width, height)."""

    settings: Settings = field(default_factory=Settings)
    session: Session | None = None
    place: Place = "mix"
    overlay: Overlay = "none"
    wire: bool = False
    hidden: frozenset[str] = frozenset()
    eye: Eye | None = None
    view: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 1.0)
    pointer: tuple[float, float] = (-1.0, -1.0)
    hit: Hit | None = None
    words: list[Words] = field(default_factory=list)
    dialogs: Dialogs = field(default_factory=Dialogs)
    closing: bool = False
    carried_shape: str = ""
    copied_row: tuple[tuple[Cell, ...], Row] | None = None
    peeking: bool = False
    landmark: str = ""
    moved_mark: tuple[str, SurfacePoint] | None = None
    new_head: NewHead | None = None
    finding: Finding | None = None
    shown_of_new: str = "sculpt"
    distance_heat: bool = False
    pointed: str = ""
    clock: Callable[[], float] = time.monotonic

    def __post_init__(self) -> None:
        self.work = Work(lambda text: self.say(text, "wrong"))
        self.picker: Picker | None = None
        self.keeping: Keeping | None = None
        self.keeping_marks: KeepingMarks | None = None
        self._from: tuple[Eye, Eye, float] | None = None

    def overlays(self, has_texture: bool) -> dict[Overlay, tuple[str, str]]:
        """What can be laid over the head as it is: its words and what they mean."""
        there = {"skin": has_texture, "left": self.session is not None and self.session.target is not None}
        return {name: words for name, words in OVERLAYS.items() if there.get(name, True)}

    @property
    def opened(self) -> Session:
        """The session that is open; asked only where there is one."""
        assert self.session is not None
        return self.session

    # Words.

    def say(self, text: str, kind: str = "note") -> None:
        """Tell one line; it stays for a while, a fault until it is clicked away."""
        self.words = [w for w in self.words if w.text != text][-3:]
        self.words.append(Words(text, kind, self.clock() + (WORDS_SECONDS if kind != "wrong" else 1e9)))

    def do(self, edit: Edit, words: str = "") -> bool:
        """Apply an edit to what is open, telling what went wrong; whether it was done."""
        assert self.session is not None
        return self.guard(lambda: self.session.apply(edit), words)  # type: ignore[union-attr]

    def do_later(self, edit: Edit, words: str) -> None:
        """Apply an edit that takes long: the masks are made beside the frame loop, and the step is done when they are
        there, unless something else has been edited meanwhile: then it is tried again on top of that."""
        session = self.opened
        base = session.history.committed

        def done(made: tuple[Project, EvaluatedDocument]) -> None:
            if self.session is not session:
                return
            if session.history.committed is base:
                self.guard(lambda: session.take(*made))
            else:
                self.do_later(edit, words)

        self.work.begin(words, lambda progress: session.prepared(edit), done, quiet=True)

    def guard(self, call: Callable[[], object], words: str = "") -> bool:
        """Call something that may refuse, telling why it does; whether it was done."""
        try:
            call()
        except MoueError as error:
            self.say(str(error), "wrong")
            return False
        if words:
            self.say(words, "done")
        return True

    # Opening, saving, leaving.

    def open(self, path: Path) -> None:
        """Open a document or a library beside the frame loop; what is open stays until it is there. Of two that are
        asked for it is the later one, and what is edited meanwhile is asked about."""
        before = self.session
        edited = before.history.committed if before is not None else None

        def there(made: tuple[Opened, Session, Picker, Waiting | None]) -> None:
            if before is not None and before is self.session and before.history.committed is not edited:
                self.unless_unsaved(lambda: self._opened(made))
            else:
                self._opened(made)

        for job in self.work.jobs:
            if job.name.startswith(OPENING):
                job.cancel()
        self.work.begin(f"{OPENING}{path.name}", lambda progress: _ready(open_path(path, progress), progress), there)

    def _opened(self, made: tuple[Opened, Session, Picker, Waiting | None]) -> None:
        opened, self.session, self.picker, self.dialogs.waiting = made
        self.give_up_marks()
        self.overlay, self.place = "none", "mix"
        self.hidden = veils_of(self.session.head.parts, self.session.head.polygons, self.session.head.neutral)
        self.new_head, self.finding, self.moved_mark, self.landmark, self.carried_shape = None, None, None, "", ""
        self.keeping_marks = None
        self.look_from("front", at_once=True)
        self.settings.opened(opened.file or opened.evaluated.head.path or opened.evaluated.project.path)
        for note in opened.notes[:2]:
            self.say(note)
        self.keeping = Keeping(self.session)

    def take_waiting(self) -> None:
        """Go on with the copy that waited."""
        held, self.dialogs.waiting = self.dialogs.waiting, None
        if held is not None and self.session is not None:
            file, project = self.session.file, held.project
            self.work.begin(
                "Taking the copy",
                lambda progress: _ready(open_recovered(project, file, progress), progress),
                self._opened,
            )

    def leave_waiting(self) -> None:
        """Forget the copy that waited."""
        self.dialogs.waiting = None
        if self.keeping is not None:
            self.keeping.give_up()

    def save(self, path: Path | None = None, then: Callable[[], None] | None = None) -> None:
        """Save beside the frame loop, to the document's own file or another, and then do something; a fault leaves
        the old file whole, and nothing more is done."""
        session = self.session
        if session is None:
            return
        target = path or session.file
        if target is None:
            self.dialogs.save_as, self.dialogs.ask = True, then
            return
        then = then or self.dialogs.ask
        self.dialogs.ask = None
        project, keeping = session.history.committed, self.keeping
        place = keeping.place if keeping is not None else None

        def written(progress: Progress) -> Project:
            save_document(project, target)
            if keeping is not None and place is not None:
                keeping.give_up(place)
            return project

        def done(kept: Project) -> None:
            session.saved, session.file = kept, target
            self.settings.opened(target)
            self.say(f"Saved {target}", "done")
            if then is not None:
                then()

        self.work.begin(f"Saving {target.name}", written, done)

    def unless_unsaved(
        self, call: Callable[[], None], document: bool = True, new_head: bool = True, work: bool = False
    ) -> None:
        """Do something that would lose what is not saved: at once, or after asking once. Said is which of it would be
        lost: the `document`'s changes, the landmarks and the fit of the `new_head`, the `work` that is under way.
        """
        stake: dict[str, str] = {}
        if document and self.session is not None and self.session.unsaved:
            stake["document"] = f"The changes to {self.session.title}."
        new = self.new_head if new_head else None
        if new is not None and new.unsaved:
            stake["landmarks"] = f"The landmarks on {new.sculpt.name}."
        if new is not None and new.uncarried:
            stake["fit"] = f"The fit onto {new.sculpt.name}, which is not carried yet."
        if work:
            stake |= {job.name: f"{job.name} is still under way." for job in self.work.jobs if job.asks}
        if not stake:
            call()
            return
        self.dialogs.ask, self.dialogs.leave, self.dialogs.at_stake = call, True, stake

    def save_at_stake(self) -> None:
        """Save what was asked about, and then do what was to be done; a fault leaves all as it is."""
        call, self.dialogs.ask = self.dialogs.ask, None
        if "landmarks" in self.dialogs.at_stake and not self.save_landmarks():
            return
        if "document" in self.dialogs.at_stake:
            self.save(then=call)
        elif call is not None:
            call()

    def save_landmarks(self) -> bool:
        """Save the new head's landmarks beside its sculpt; whether that was done."""
        new = self.new_head
        if new is None or not self.guard(lambda: self.say(f"Saved {new.save_landmarks()}", "done")):
            return False
        self.give_up_marks()
        return True

    def give_up_marks(self) -> None:
        """Forget the copy of the landmarks."""
        if self.keeping_marks is not None:
            self.keeping_marks.give_up()

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

    def look_from(self, view: str, at_once: bool = False) -> None:
        """Look from a named side, the whole head in the picture."""
        if self.session is not None:
            new = self.new_head if self.place == "new" else None
            points = self.session.head.neutral if new is None else new.sculpt.neutral
            self._go(named_eye(view, points, self.view_size), at_once)

    def frame_region(self) -> None:
        """Look closely at the chosen region from where the eye is; at the whole head where it is the base row."""
        session = self.session
        if session is None or self.eye is None:
            return
        mask = session.evaluated.effective.get(session.region)
        points = session.positions()
        if mask is not None and (mask > 0.3).any():
            points = points[mask > 0.3]
        self._go(framed(self.eye, points, self.view_size, 0.6 if mask is not None else 0.8))

    def look_at_finding(self, finding: Finding) -> None:
        """Take the eye to where a finding is, from the side that its skin faces."""
        session = self.opened
        if self.eye is None or not len(finding.vertices):
            return
        points = session.positions()[finding.vertices].astype(np.float64)
        out = session.normals_of(session.positions())[finding.vertices].mean(axis=0)
        if float(np.linalg.norm(out)) > 0.1 and float(out @ self.eye.axes[2]) < 0.3:
            yaw, flat = float(np.degrees(np.arctan2(out[0], out[2]))), float(np.hypot(out[0], out[2]))
            pitch = float(np.clip(np.degrees(np.arctan2(out[1], flat)), -50.0, 50.0))
            eye = replace(self.eye, yaw=yaw, pitch=pitch)
        else:
            eye = self.eye
        reach = 0.06 * session.head.diagonal
        box = np.concatenate([points, points.mean(axis=0) + reach * np.array([[-1, -1, 0], [1, 1, 0]])])
        self._go(framed(eye, box, self.view_size, 0.55))

    @property
    def view_size(self) -> tuple[int, int]:
        """Width and height of the view in points."""
        return max(int(self.view[2]), 1), max(int(self.view[3]), 1)

    def _go(self, eye: Eye, at_once: bool = False) -> None:
        self._from = None if at_once or self.eye is None else (self.eye, eye, self.clock())
        if self._from is None:
            self.eye = eye

    def step(self) -> bool:
        """Let time pass: jobs end, words fade, the eye moves on. Whether anything still moves."""
        self.work.poll()
        session = self.session
        if session is not None and session.join_wanted and all(job.name != JOINING for job in self.work.jobs):
            self.work.begin(JOINING, lambda progress: session.join(), session.take_join, quiet=True)
        now = self.clock()
        self.words = [w for w in self.words if w.until > now]
        if self._from is not None:
            start, end, since = self._from
            t = min((now - since) / MOVE_SECONDS, 1.0)
            self.eye = between(start, end, t * t * (3.0 - 2.0 * t))
            if t >= 1.0:
                self._from, self.eye = None, end
        return self._from is not None or bool(self.work.jobs)

    def turn(self, eye: Eye) -> None:
        """Set the eye by hand; a move under way ends."""
        self._from, self.eye = None, eye

    # What is under the pointer.

    def in_view(self, x: float, y: float) -> bool:
        """Whether a place of the window (points, y from the top) lies in the view."""
        left, top, width, height = self.view
        return left <= x < left + width and top <= y < top + height

    def look_up(self, x: float, y: float) -> Hit | None:
        """What of the head lies under a place of the window."""
        if self.session is None or self.picker is None or self.eye is None or not self.in_view(x, y):
            return None
        left, top, _, _ = self.view
        origin, direction = self.eye.ray(x - left, y - top, *self.view_size)
        if self.place == "new":
            new = self.new_head
            return None if new is None else new.picker.pick(new.positions(), origin, direction, self.hidden_of_new)
        return self.picker.pick(self.session.positions(), origin, direction, self.hidden)

    def region_at(self, hit: Hit | None) -> str:
        """The region that has most of a place of the skin; "" where none has any."""
        if hit is None or self.session is None:
            return ""
        best, most = "", 0.05
        for region in self.session.project.regions:
            mask = self.session.evaluated.effective[region.name]
            here = float(np.asarray(mask)[np.asarray(hit.corners)] @ np.asarray(hit.bary))
            if here > most:
                best, most = region.name, here
        return best

    @property
    def hidden_of_new(self) -> frozenset[str]:
        """What of the sculpt ("skin") and the library on it is not shown."""
        return {"sculpt": frozenset({LIBRARY}), "cage": frozenset({SKIN})}.get(self.shown_of_new, frozenset())

    def open_sculpt(self, path: Path) -> None:
        """Open a sculpt beside the frame loop, with the landmarks that lie beside it; the library stays open. What is
        not saved of the sculpt before is asked about."""
        self.unless_unsaved(lambda: self._open_sculpt(path), document=False)

    def _open_sculpt(self, path: Path) -> None:
        session = self.opened
        library = session.head

        def opened(new: NewHead) -> None:
            if self.session is session:
                self.give_up_marks()
                self.new_head, self.place, self.shown_of_new = new, "new", "sculpt"
                self.keeping_marks = KeepingMarks(new)
                self.turn(named_eye("front", new.sculpt.neutral, self.view_size))
                for note in new.notes[:2]:
                    self.say(note)

        self.work.begin(f"{OPENING}{path.name}", lambda progress: open_new_head(library, path, progress), opened)

    def hide_part(self, name: str) -> None:
        """Hide a part, or show it again."""
        self.hidden = self.hidden ^ {name}

    def alone(self, name: str, names: list[str]) -> None:
        """Show one part alone, or all again where it is alone already."""
        others = frozenset(names) - {name}
        self.hidden = frozenset() if self.hidden == others else others


def _ready(opened: Opened, progress: Progress) -> tuple[Opened, Session, Picker, Waiting | None]:
    progress(0.93, "getting ready to mix")
    session = Session(opened)
    progress(0.97, "getting ready to point")
    held = None if opened.recovered else waiting_for(opened.file, session.project.path)
    return opened, session, Picker(opened.evaluated.head), held


def weight_words(weight: float) -> str:
    """A weight as people read it: 0.35, 1, -0.2."""
    return f"{weight:.2f}".rstrip("0").rstrip(".") if weight else "0"
