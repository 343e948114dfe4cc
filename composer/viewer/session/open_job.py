"""Opening beside the frame loop: a document or a library, the copy of one, a sculpt."""

from __future__ import annotations

from pathlib import Path

from composer.document.autosave import Waiting
from composer.head.coarse_head import coarse_head
from composer.head.understand.veils import veils_of
from composer.progress import Progress
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.render.camera import named_eye
from composer.viewer.render.picking import Picker
from composer.viewer.session.first_look import FirstLook
from composer.viewer.session.keeping import Keeping, waiting_for
from composer.viewer.session.kept_marks import KeepingMarks
from composer.viewer.session.looking import look_from
from composer.viewer.session.opening import Opened, open_new_head, open_path, open_recovered
from composer.viewer.session.saving import give_up_marks, unless_unsaved
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage

OPENING = "Opening "
MOST_LISTED = 4
"""Names that a note over the face lists before it says how many more there are; our choice."""
Ready = tuple[Opened, Session, Picker, Waiting | None]
"""What was opened, its session, what picks on it, and a newer copy of it that was kept."""


def begin_opening(stage: Stage, path: Path) -> None:
    """Open a document or a library beside the frame loop; the open one stays until the new one is ready, or the
    neutral of a large one is there to be looked at. A later call replaces an earlier one; edits made in the meantime
    are asked about."""
    before = stage.session
    edited = before.history.committed if before is not None else None
    first = FirstLook(stage)

    def done(ready: Ready) -> None:
        now = stage.session
        if first.is_shown:
            _show(stage, ready, looked=True)
        elif now is not None and (now is not before or now.history.committed is not edited):
            unless_unsaved(stage, lambda: _show(stage, ready))
        else:
            _show(stage, ready)

    def failed(words: str) -> None:
        first.take_back()
        stage.say(words, "wrong")

    for job in stage.work.jobs:
        if job.name.startswith(OPENING):
            job.cancel()
    stage.work.begin(
        f"{OPENING}{path.name}", lambda progress: _ready(open_path(path, progress, first.hand), progress), done, failed,
        meanwhile=first.step, stopped=first.take_back,
    )  # fmt: skip


def _show(stage: Stage, ready: Ready, looked: bool = False) -> None:
    """Show what was opened; the eye stays where it is where the head was `looked` at already."""
    opened, stage.session, stage.picker, stage.dialogs.waiting = ready
    give_up_marks(stage)
    stage.overlay, stage.place = "none", "mix"
    stage.hidden = veils_of(stage.session.head)
    stage.new_head, stage.finding, stage.moved_mark, stage.landmark, stage.carried_shape = None, None, None, "", ""
    stage.keeping_marks = None
    if not looked or stage.session.project.axes is not None:
        look_from(stage, "front", at_once=True)
    stage.settings.opened(opened.file or opened.evaluated.head.path or opened.evaluated.project.path)
    for note in opened.notes[:2]:
        stage.say(in_brief(note))
    guesses = len(stage.session.project.guesses)
    if guesses and opened.file is None:
        found = f"Moue found the landmarks for {len(stage.session.project.regions)} regions."
        stage.say(f"{found} {guesses} of them are guesses, drawn in orange: press here to look at them.", place="marks")
    stage.keeping = Keeping(stage.session)
    stage.watch_others()


def in_brief(note: str) -> str:
    """A note whose sentence ends in a long list, with the first of what is listed: they lie over the face."""
    words, colon, listed = note.partition(": ")
    names = listed.rstrip(".").split(", ")
    if not colon or len(names) <= MOST_LISTED or ". " in listed:
        return note
    first, more = ", ".join(names[:MOST_LISTED]), len(names) - MOST_LISTED
    return f"{words}: {first} and {more} more; the name at the top tells all."


def open_copy(stage: Stage) -> None:
    """Open the copy that was kept of the document."""
    held, stage.dialogs.waiting = stage.dialogs.waiting, None
    if held is not None and stage.session is not None:
        file, project = stage.session.file, held.project
        stage.work.begin(
            "Opening the copy",
            lambda progress: _ready(open_recovered(project, file, progress), progress),
            lambda ready: _show_copy(stage, ready, held),
        )


def _show_copy(stage: Stage, ready: Ready, copy: Waiting) -> None:
    """Show the copy; it stays where it is until the document is saved."""
    _show(stage, ready)
    if stage.keeping is not None:
        stage.keeping.taken = copy.place


def discard_copy(stage: Stage) -> None:
    """Delete the copy that was kept of the document."""
    held, stage.dialogs.waiting = stage.dialogs.waiting, None
    if stage.keeping is not None and held is not None:
        stage.keeping.give_up(held.place)


def open_sculpt(stage: Stage, path: Path) -> None:
    """Open a sculpt beside the frame loop, with the landmarks that lie beside it; the library stays open. Unsaved
    work on the sculpt before is asked about."""
    unless_unsaved(stage, lambda: _open_sculpt(stage, path), document=False)


def _open_sculpt(stage: Stage, path: Path) -> None:
    session = stage.opened
    library = session.head

    def opened(new: NewHead) -> None:
        if stage.session is session:
            give_up_marks(stage)
            stage.new_head, stage.place, stage.shown_of_new = new, "new", "sculpt"
            stage.landmark, stage.piece, stage.painted_zone = new.next_asked(), None, None
            stage.keeping_marks = KeepingMarks(new)
            stage.turn(named_eye("front", new.sculpt.neutral, stage.view_size))
            for note in new.notes[:2]:
                stage.say(note)

    stage.work.begin(f"{OPENING}{path.name}", lambda progress: open_new_head(library, path, progress), opened)


def _ready(opened: Opened, progress: Progress) -> Ready:
    progress(0.93, "preparing to mix")
    head = opened.evaluated.head
    _ = coarse_head(head), head.polygons.edges  # for the frame loop, which would wait for them
    session = Session(opened)
    progress(0.97, "preparing to point")
    held = None if opened.recovered else waiting_for(opened.file, session.project.path)
    return opened, session, Picker(opened.evaluated.head), held
