"""Questions about a head's size and its landmarks: asked where there is reason, and never on a head that is right."""

from __future__ import annotations

import difflib
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from composer.head.head import Head
from composer.head.human_size import eye_distance, face_length, size_doubts
from composer.head.landmark_doubts import known_names, landmark_doubts, letters_apart, nearest_name
from composer.head.landmarks import Landmarks
from composer.head.parts import with_recognised_parts
from tests.awkward_heads import awkward


@cache
def marked() -> Head:
    a = awkward("three_shapes")
    return with_recognised_parts(a.head).with_(landmarks=a.landmarks)


def resized(head: Head, times: float, unit: str) -> Head:
    """The head as it would open if its files, in truth in mm, were taken to be in `unit`."""
    shapes = tuple(type(s)(s.name, s.delta * np.float32(times)) for s in head.shapes)
    return head.with_(neutral=head.neutral * times, shapes=shapes, unit=unit)


def test_a_person_is_not_questioned() -> None:
    assert size_doubts(marked()) == [] and landmark_doubts(marked()) == []
    assert eye_distance(marked()) == pytest.approx(64.0, abs=0.1)


@pytest.mark.parametrize(("times", "unit"), [(10.0, "cm"), (25.4, "in")])
def test_a_wrong_unit_is_asked_and_the_one_that_fits_is_named(times: float, unit: str) -> None:
    doubts = size_doubts(resized(marked(), times, unit))
    assert len(doubts) == 2
    assert all(f"Is {unit} the unit?" in doubt and "say --unit mm" in doubt for doubt in doubts)


def test_a_size_that_no_unit_explains_is_a_question_about_style() -> None:
    doubts = size_doubts(resized(marked(), 1.5, "mm"))
    assert len(doubts) == 2 and all("stylised" in doubt for doubt in doubts)


def test_without_eyeballs_the_lids_tell_and_without_both_nothing() -> None:
    bare = marked().with_(parts=())
    assert eye_distance(bare) is not None and face_length(bare) is not None
    assert size_doubts(bare.with_(landmarks=None)) == []


@given(st.text("abcde", max_size=8), st.text("abcde", max_size=8))
def test_letters_apart_is_a_distance(one: str, other: str) -> None:
    apart = letters_apart(one, other, 20)
    assert apart == letters_apart(other, one, 20) and (apart == 0) == (one == other)
    assert abs(len(one) - len(other)) <= apart <= max(len(one), len(other))
    same = sum(block.size for block in difflib.SequenceMatcher(None, one, other, False).get_matching_blocks())
    assert apart <= len(one) + len(other) - 2 * same  # difflib's matching blocks are one way to make one of the other


@pytest.mark.parametrize(
    ("word", "meant"),
    [("pronasal", "pronasale"), ("endocantion_left", "endocanthion_left"), ("Cheilion_right", "cheilion_right"),
     ("gnahtion", "gnathion"), ("exocanthion_lft", "exocanthion_left")],
)  # fmt: skip
def test_a_misspelt_name_is_questioned(word: str, meant: str) -> None:
    assert nearest_name(word, known_names()) == meant
    head = marked()
    points = {name: place for name, place in head.landmarks.points.items() if name != meant}  # type: ignore[union-attr]
    doubts = landmark_doubts(head, Landmarks({**points, word: 3}))
    assert any(repr(word) in doubt and repr(meant) in doubt for doubt in doubts)


def test_names_of_ones_own_are_counted_in_one_line() -> None:
    own = {f"scar_{i:02d}_x": i for i in range(40)}
    doubts = landmark_doubts(marked(), Landmarks(own))
    assert len(doubts) == 1 and doubts[0].startswith("40 landmarks have names of their own")


def test_sides_pairs_and_places_off_the_skin_are_told() -> None:
    head = marked()
    assert head.landmarks is not None
    at = {name: head.landmarks.position(name, head.neutral) for name in head.landmarks.points}
    points: dict = dict(head.landmarks.points)
    points["cheilion_left"], points["cheilion_right"] = points["cheilion_right"], points["cheilion_left"]
    points["exocanthion_left"] = tuple(at["exocanthion_left"] + [0.0, 9.0, 0.0])
    points["pronasale"] = tuple(at["pronasale"] + [0.0, 0.0, 14.0])
    doubts = " ".join(landmark_doubts(head, Landmarks(points)))
    assert "cheilion_left, cheilion_right lie on the other side" in doubts
    assert "exocanthion_left and exocanthion_right are 9.0 mm from being mirror images" in doubts
    assert "pronasale lies" in doubts and "off the skin" in doubts


def test_sides_are_the_heads_own_whatever_axes_its_file_has() -> None:
    a = awkward("three_shapes", "z_up")
    assert landmark_doubts(a.head, a.landmarks) == []
