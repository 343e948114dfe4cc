"""The page of what is believed of a head: every topic, every part, each line with a way to correct it."""

from __future__ import annotations

import numpy as np
import pytest

from composer.document.beliefs import beliefs_of
from composer.head.head import Head
from composer.head.parts import recognise, with_recognised_parts
from tests.awkward_heads import awkward


@pytest.mark.parametrize("traits", [("three_shapes",), ("three_shapes", "z_up"), ("open_mask",)])
def test_the_page_tells_every_topic_and_every_part(traits: tuple[str, ...]) -> None:
    head = awkward(*traits).head
    page = beliefs_of(head)
    assert [*dict.fromkeys(belief.topic for belief in page)] == ["neutral", "unit", "sides", "parts", "landmarks"]
    assert all(belief.words.endswith(".") or belief.words.endswith("?") for belief in page)
    assert all(belief.correct for belief in page)
    parts = " ".join(belief.words for belief in page if belief.topic == "parts")
    assert all(part.name in parts for part in recognise(head).parts)
    sides = next(belief for belief in page if belief.topic == "sides")
    assert sides.doubt == ("z_up" in traits)


def test_a_head_without_anything_still_has_its_page() -> None:
    from composer.geometry.polygons import Polygons

    plain = Head("one", Polygons.from_faces([[0, 1, 2]], 3), np.eye(3) * 100.0)
    page = beliefs_of(plain)
    assert {belief.topic for belief in page} == {"neutral", "unit", "sides", "parts", "landmarks"}


def test_a_real_librarys_page_has_no_doubt_but_its_guesses(real_head: Head) -> None:
    page = beliefs_of(real_head)
    assert not [belief.words for belief in page if belief.doubt]
    assert any("guessed" in belief.words for belief in page)
    assert any("degrees outward" in belief.words for belief in page)


def test_a_real_librarys_page_says_what_its_shapes_do_not_hold(real_head: Head) -> None:
    words = [belief.words for belief in beliefs_of(real_head)]
    assert any("No shape turns the eyeballs" in each for each in words)  # its looking shapes move lids alone
    assert any("No tongue is a piece of its own" in each for each in words)  # tongue and gums are one piece


def test_a_head_that_turns_its_eyes_and_has_a_tongue_is_not_said_to_lack_them() -> None:
    words = [belief.words for belief in beliefs_of(with_recognised_parts(awkward("layered_eyes").head))]
    assert not any("No shape turns" in each or "No tongue" in each for each in words)


def test_head_motion_that_is_left_in_most_shapes_is_asked_about() -> None:
    page = beliefs_of(awkward("three_shapes", "head_drift").head)
    asked = [belief for belief in page if belief.topic == "head motion"]
    assert len(asked) == 1 and asked[0].doubt and "3 of 3" in asked[0].words
    assert not any(belief.topic == "head motion" for belief in beliefs_of(awkward("three_shapes").head))
