"""What pictures colour how: by what a part is, whatever it is called, and lips by their curves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.parts import with_recognised_parts
from composer.head.understand.part_words import what_parts_are
from composer.head.understand.veils import veils_of
from composer.picture.material import GROUPS, PARTS, SKIN, lip_weights, materials
from tests.awkward_heads import awkward
from tests.composer.checks.check_heads import plane


def colours(head: Head) -> np.ndarray:
    return materials(head.polygons, head.neutral, head.parts, head.groups, head.landmarks, what_parts_are(head))[0]


def test_parts_that_are_called_anything_keep_their_colours_and_veils() -> None:
    head = with_recognised_parts(awkward("layered_eyes", "rooted_lashes", "one_object").head)
    renamed = head.with_(parts=tuple(replace(part, name=f"eclipse {i}") for i, part in enumerate(head.parts)))
    np.testing.assert_array_equal(colours(renamed), colours(head))
    number = {part.name: f"eclipse {i}" for i, part in enumerate(head.parts)}
    assert veils_of(renamed) == {number[name] for name in veils_of(head)} != set()
    teeth = head.part("teeth_upper").vertices
    np.testing.assert_allclose(colours(head)[teeth], np.tile(PARTS["teeth"][0], (len(teeth), 1)))


@pytest.mark.parametrize(
    ("name", "word"), [("inner_mouth", "mouth"), ("LipsUpper", "lip"), ("faceNostrils_L", "nostril"), ("eclipse", ""),
                       ("tulip", ""), ("splash", ""), ("mouthpiece", "")],
)  # fmt: skip
def test_a_group_is_known_by_a_whole_word(name: str, word: str) -> None:
    polygons, points = plane(4, 10.0)
    albedo, _ = materials(polygons, points, groups={name: np.arange(polygons.n_faces)})
    np.testing.assert_allclose(albedo[12], GROUPS[word][0] if word else SKIN)


def test_lips_are_red_between_border_and_line_and_softly_beyond() -> None:
    _, points = plane(40, 40.0)
    x = np.linspace(-15.0, 15.0, 9)
    at = {"upper_lip": 6.0, "lip_line_upper": 0.0, "lower_lip": -8.0, "lip_line_lower": 0.0}
    lines = {name: [(float(each), high, 0.0) for each in x] for name, high in at.items()}
    weight = lip_weights(points, Landmarks({}, lines))
    middle = np.abs(points[:, 0]) < 10.0
    y = points[:, 1]
    assert weight[middle & (y < 5.0) & (y > -7.0)].min() > 0.99
    assert weight[middle & ((y > 7.0) | (y < -9.0))].max() < 0.01
    np.testing.assert_allclose(weight[middle & (np.abs(y - 6.0) < 1e-9)], 0.5)
    assert not lip_weights(points, Landmarks({}, {"upper_lip": lines["upper_lip"]})).any()
