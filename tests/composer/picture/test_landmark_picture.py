"""A picture of landmarks shows every name, guesses in their own colour, and points only where the eye sees them."""

from __future__ import annotations

import numpy as np
import pytest

from composer.head.landmarks import Landmarks
from composer.picture import landmark_picture as drawn
from composer.picture.camera import frame
from composer.picture.landmark_picture import GUESSED, KNOWN, SIZE, landmark_picture
from composer.picture.views import axes_of
from tests.awkward_heads import awkward


def has(picture: np.ndarray, colour: tuple[int, int, int]) -> bool:
    return bool((picture == np.array(colour, dtype=np.uint8)).all(axis=2).any())


@pytest.mark.parametrize("guessed", [False, True])
def test_what_is_guessed_has_its_own_colour(monkeypatch: pytest.MonkeyPatch, guessed: bool) -> None:
    monkeypatch.setattr(drawn, "SIZE", (90, 110))
    monkeypatch.setattr(drawn, "VIEWS", ("front",))
    a = awkward("three_shapes")
    marks = Landmarks({"pronasale": a.landmarks.points["pronasale"], "gnathion": a.landmarks.points["gnathion"]})
    picture = np.asarray(landmark_picture(a.head, marks, list(marks.points) if guessed else ()))
    views = picture[:110]
    assert has(views, GUESSED) == guessed and has(views, KNOWN) != guessed
    assert picture.shape[0] > 110 and picture.shape[1] == 90


def test_a_point_on_the_far_side_is_left_out() -> None:
    a = awkward("three_shapes")
    camera = frame(a.head.neutral, axes_of("front"), SIZE, 0.9)
    nose = a.landmarks.position("pronasale", a.head.neutral)
    back = a.landmarks.position("opisthocranion", a.head.neutral)
    assert not drawn._turned_away(a.head, nose, camera)
    assert drawn._turned_away(a.head, back, camera)
