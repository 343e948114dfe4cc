"""Saving beside the frame loop, and asking before anything that is not saved would be lost."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from composer.document.autosave import keep
from composer.document.project import Project
from composer.document.store import save_document
from composer.progress import Progress
from composer.viewer.session.stage import Stage


def save(stage: Stage, path: Path | None = None, then: Callable[[], None] | None = None) -> None:
    """Save beside the frame loop, to the document's own file or another, then call `then`. Where saving fails
    the old file stays whole and `then` is not called."""
    session = stage.session
    if session is None:
        return
    if session.arriving:
        stage.say("Its shapes are still being read: in a moment it can be saved.", "wrong")
        return
    target = path or session.file
    if target is None:
        stage.dialogs.save_as, stage.dialogs.ask = True, then
        return
    if stage.others is not None and stage.others.looking and target == session.file:
        stage.say("Another window has this document: save it here under another name.", "wrong")
        return
    then = then or stage.dialogs.ask
    stage.dialogs.ask = None
    project, keeping = session.history.committed, stage.keeping
    place = keeping.place if keeping is not None else None

    def written(progress: Progress) -> Project:
        if place is not None and place.exists():
            keep(project, place)  # a kill from here on leaves no copy that says less than the document
        save_document(project, target)
        if keeping is not None and place is not None:
            keeping.give_up(place)
            keeping.give_up()
        return project

    def done(kept: Project) -> None:
        moved = session.file != target
        session.saved, session.file = kept, target
        if moved:
            stage.watch_others()
        stage.settings.opened(target)
        stage.say(f"Saved {target}", "done")
        if then is not None:
            then()

    stage.work.begin(f"Saving {target.name}", written, done)


def unless_unsaved(
    stage: Stage, call: Callable[[], None], document: bool = True, new_head: bool = True, work: bool = False,
    without: str = "Discard",
) -> None:  # fmt: skip
    """Call something that would lose unsaved work: at once where there is none, else after asking. The question lists
    what would be lost: the changes of the `document`, the landmarks and the fit of the `new_head`, the `work` that is
    under way. The button `without` calls it without saving.
    """
    stake: dict[str, str] = {}
    if document and stage.session is not None and stage.session.unsaved:
        stake["document"] = f"The changes to {stage.session.title}."
    new = stage.new_head if new_head else None
    if new is not None and new.unsaved:
        stake["landmarks"] = f"The landmarks on {new.sculpt.name}."
    if new is not None and new.uncarried:
        stake["fit"] = f"The fit onto {new.sculpt.name}, which is not carried over yet."
    if work:
        stake |= {job.name: f"{job.name} is still under way." for job in stage.work.jobs if job.asks}
    if not stake:
        call()
        return
    stage.dialogs.ask, stage.dialogs.leave, stage.dialogs.at_stake = call, True, stake
    stage.dialogs.without = without


def save_at_stake(stage: Stage) -> None:
    """Save what was asked about, then do what was asked for; where saving fails nothing more happens."""
    call, stage.dialogs.ask = stage.dialogs.ask, None
    if "landmarks" in stage.dialogs.at_stake and not save_landmarks(stage):
        return
    if "document" in stage.dialogs.at_stake:
        save(stage, then=call)
    elif call is not None:
        call()


def save_landmarks(stage: Stage) -> bool:
    """Save the new head's landmarks beside its sculpt; whether that was done."""
    new = stage.new_head
    if new is None or not stage.guard(lambda: stage.say(f"Saved {new.save_landmarks()}", "done")):
        return False
    give_up_marks(stage)
    return True


def give_up_marks(stage: Stage) -> None:
    """Delete the copy that is kept of the sculpt's landmarks."""
    if stage.keeping_marks is not None:
        stage.keeping_marks.give_up()
