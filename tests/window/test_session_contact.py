"""A recipe that keeps contact in a session: what is seen while a weight is dragged, and when the drag has ended."""

from __future__ import annotations

from typing import Literal
from weakref import WeakSet

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.edits.cells import set_cell
from composer.edits.recipes import set_contact, set_join
from composer.errors import MoueError
from composer.mixing.recipe import Cell
from composer.progress import Progress
from composer.viewer.session.joined import LOWER
from composer.viewer.session.opening import Opened
from composer.viewer.session.ready_contact import keep_ready, pose_at_once, share_ready
from composer.viewer.session.session import Session
from composer.viewer.session.work import Work
from tests.composer.document.test_contact_in_documents import document
from tests.eye_head import eye_head
from tests.made_once import thing


def test_a_drag_is_parted_as_soon_as_the_head_is_known_and_its_end_is_the_bakes_pose(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("composer.mixing.contact_live.BUDGET_SECONDS", np.inf)  # however long a step takes here
    session = Session(Opened(document().again(document().project), None, ()))
    plain = session.positions().copy()
    session.apply(lambda p: set_contact(p, "shut", True))
    assert session.join_wanted
    np.testing.assert_array_equal(session.positions(), plain)
    session.take_join(session.join())
    for now in (0.0, 1.0):  # the picture goes there in a fifth of a second
        session.step(now)
    assert not session.join_wanted
    wanted = session.evaluated.pose(session.recipe)
    np.testing.assert_allclose(session.positions(), wanted, atol=1e-5)
    assert np.abs(session.positions() - plain).max() > 0.2

    session.preview(lambda p: set_cell(p, "shut", Cell("all", "narrow", 1.1)))
    frame = session.frame()
    np.testing.assert_allclose(frame.positions, session.evaluated.pose(session.recipe), atol=1e-4)
    session.commit()
    session.apply(lambda p: set_contact(p, "shut", False))
    np.testing.assert_array_equal(session.positions(), session.evaluated.pose(session.recipe).astype(np.float32))


def unready(join: Literal["linear", "seamless"]) -> Session:
    """A session on a head of which nothing that parts it is made, whose recipe keeps contact."""
    made = EvaluatedDocument(document().project, thing("the made eye", eye_head))
    session = Session(Opened(made, None, ()))
    session.apply(lambda p: set_join(set_contact(p, "shut", True), "shut", join))
    return session


@pytest.mark.parametrize("join", ["linear", "seamless"])
def test_until_contact_is_made_the_pose_is_shown_without_it(join: Literal["linear", "seamless"]) -> None:
    session = unready(join)
    assert session.contact_missing and session.join_wanted
    assert session.join_missing is (join == "seamless")  # a linear pose is seen as it is
    if session.join_missing:
        session.take_join(session.join(parted=False))
    assert session.contact_missing and not session.join_missing
    plain = session.recipe.with_(contact=False)
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(plain), atol=1e-5)
    np.testing.assert_array_equal(pose_at_once(session.evaluated, session.recipe), session.evaluated.pose(plain))

    told: list[float] = []
    session.evaluated.make_contact(lambda share, words: told.append(share))
    assert told == sorted(told) and len(told) > 1 and told[0] >= 0.0 and told[-1] < 1.0
    assert not session.contact_missing and session.join_missing
    session.take_join(session.join())
    for now in (0.0, 1.0):
        session.step(now)
    assert not session.join_wanted
    np.testing.assert_allclose(session.positions(), session.evaluated.pose(session.recipe), atol=1e-5)
    assert np.abs(session.positions() - session.evaluated.pose(plain)).max() > 0.2


def test_contact_is_made_beside_the_frame_loop_once() -> None:
    session, faults = unready("linear"), list[str]()
    work = Work(faults.append)
    keep_ready(work, session, faults.append)
    keep_ready(work, session, faults.append)
    (job,) = work.jobs
    job.wait(60.0)
    assert 0.0 < share_ready(work) < 1.0
    work.poll()
    assert not work.jobs and not faults and not session.contact_missing and session.join_missing
    keep_ready(work, session, faults.append)
    assert not work.jobs


def test_a_head_for_which_contact_cannot_be_made_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(evaluated: EvaluatedDocument, progress: Progress) -> None:
        raise MoueError("the lids cannot be told apart")

    monkeypatch.setattr(EvaluatedDocument, "make_contact", refuse)
    monkeypatch.setattr("composer.viewer.session.ready_contact._refused", WeakSet())  # this head is shared
    session, faults = unready("linear"), list[str]()
    work = Work(faults.append)
    for _ in range(3):
        keep_ready(work, session, faults.append)
        for job in work.jobs:
            job.wait(60.0)
        work.poll()
    assert faults == ["the lids cannot be told apart"]


def test_what_contact_leaves_is_told_in_words_once_the_pose_is_finished() -> None:
    session = Session(Opened(document().again(document().project), None, ()))
    session.apply(lambda p: set_cell(set_contact(p, "shut", True), "shut", Cell("all", "blink", 2.0)))
    session.apply(lambda p: set_cell(p, "shut", Cell("all", "narrow", 2.0)))

    def told() -> list[tuple[str, str]]:
        return list(session.joined.left_in(session.recipe, session.evaluated.mixer))

    assert told() == []
    session.take_join(session.join())
    left = session.evaluated.contact.left(session.evaluated.pose(session.recipe), session.recipe)
    deep = [(each.words, each.most_mm) for each in left if each.most_mm >= 0.05]
    wanted = [(f"{most:.1f} mm left: {words}", f"{words} still go {most:.1f} mm through each other; {LOWER}")
              for words, most in deep]  # fmt: skip
    assert wanted and told() == wanted
    session.apply(lambda p: set_contact(p, "shut", False))
    assert told() == []


def test_a_head_without_curves_says_below_the_button_that_nothing_is_parted() -> None:
    bare = EvaluatedDocument(document().project, thing("the made eye", eye_head).with_(landmarks=None))
    session = Session(Opened(bare.again(bare.project), None, ()))
    session.apply(lambda p: set_contact(p, "shut", True))
    assert not session.join_wanted and session.live is not None  # it costs nothing
    ((brief, sentence),) = session.joined.left_in(session.recipe, session.evaluated.mixer)
    assert "nothing" in brief
    assert "Landmarks" in sentence
