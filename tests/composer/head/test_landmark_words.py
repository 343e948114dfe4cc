"""What landmarks are called, and in which order a person is asked for them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.head.asking_order import CLEAR, asking_order
from composer.head.head import Head
from composer.head.landmark_names import landmark_names
from composer.head.landmarks import Landmarks
from composer.head.plain_names import PLAIN, matches, named, plain_name, split_side
from tests.small_heads import grid

# Farkas, Anthropometry of the Head and Face, 2nd edition 1994, chapter 2 (from memory): what the points are.
FARKAS = {
    "endocanthion": "inner eye corner", "exocanthion": "outer eye corner", "cheilion": "mouth corner",
    "pronasale": "tip of the nose", "tragion": "notch before the ear canal", "vertex": "top of the head",
    "gnathion": "lowest point of the chin", "subnasale": "under the nose", "trichion": "middle of the hairline",
    "gonion": "corner of the jaw", "stomion": "middle of the closed mouth", "glabella": "between the brows",
}  # fmt: skip


@pytest.mark.parametrize("name", FARKAS)
def test_points_are_called_what_they_are(name: str) -> None:
    assert plain_name(name) == FARKAS[name]
    assert plain_name(f"{name}_left") == f"{FARKAS[name]}, left"
    assert named(f"{name}_right") == f"{FARKAS[name]}, right ({name})"


def test_every_point_that_regions_use_has_plain_words_of_its_own() -> None:
    names = landmark_names()
    assert [name for name in names if split_side(name)[0] not in PLAIN] == []
    assert len({plain_name(name) for name in names}) == len(names)
    assert len(set(PLAIN.values())) == len(PLAIN)


def test_a_name_that_nobody_knows_keeps_its_own_words() -> None:
    assert plain_name("mark04_x") == named("mark04_x") == "mark04 x"


@pytest.mark.parametrize("search", ["eye corner", "INNER left", "endocanthion", "endocanthion_left", "canthion", ""])
def test_a_landmark_is_found_by_either_name(search: str) -> None:
    assert matches("endocanthion_left", search)
    assert not matches("pronasale", "eye corner") and not matches("endocanthion_right", "inner left")


@settings(max_examples=40, deadline=None)
@given(st.sets(st.sampled_from([*landmark_names(), "mark01", "mark02", "brow_medial_left"]), min_size=1), st.data())
def test_everything_is_asked_for_once_and_what_is_clear_first(chosen: set[str], data: st.DataObject) -> None:
    names = data.draw(st.permutations(sorted(chosen)))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**31)))
    polygons = grid(12, 12)
    places = np.stack([*np.divmod(np.arange(144.0), 12.0), rng.random(144)], axis=1)
    where = rng.choice(144, len(names), replace=False)
    head = Head("sheet", polygons, places, landmarks=Landmarks(dict(zip(names, where.tolist(), strict=True))))
    order = asking_order(head)
    assert sorted(order) == sorted(names)
    clear = [split_side(name)[0] in CLEAR for name in order]
    assert clear == sorted(clear, reverse=True)


def test_the_mirror_image_is_asked_for_next() -> None:
    names = ["cheilion_left", "pronasale", "cheilion_right", "exocanthion_right", "exocanthion_left"]
    places = np.stack([*np.divmod(np.arange(144.0), 12.0), np.zeros(144)], axis=1)
    places[70, 2] = 5.0
    marks = Landmarks(dict(zip(names, [10, 70, 20, 140, 130], strict=True)))
    order = asking_order(Head("sheet", grid(12, 12), places, landmarks=marks))
    assert order[0] == "pronasale"
    for one, other in (order[1:3], order[3:5]):
        assert split_side(one)[0] == split_side(other)[0]


def test_a_head_without_landmarks_asks_for_nothing() -> None:
    assert asking_order(Head("sheet", grid(3, 3), np.zeros((9, 3)) + np.arange(9.0)[:, None])) == []
