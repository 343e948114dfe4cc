"""A recipe that keeps contact in a session: what is seen while a weight is dragged, and when the drag has ended."""

from __future__ import annotations

import numpy as np

from composer.document.evaluated import EvaluatedDocument
from composer.edits.cells import set_cell
from composer.edits.recipes import set_contact
from composer.mixing.recipe import Cell
from composer.viewer.session.joined import LOWER
from composer.viewer.session.opening import Opened
from composer.viewer.session.session import Session
from tests.composer.document.test_contact_in_documents import document
from tests.eye_head import eye_head
from tests.made_once import thing


def test_a_drag_is_parted_as_soon_as_the_head_is_known_and_its_end_is_the_bakes_pose() -> None:
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
    session.take_join(session.join())
    ((brief, sentence),) = session.joined.left_in(session.recipe, session.evaluated.mixer)
    assert "nothing" in brief
    assert "Landmarks" in sentence
