"""Expressions hold the published units, their head motion is what was recorded, wrinkles come at level 1."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from composer.demo.expressions import EXPRESSION_NAMES, EXPRESSIONS, HeadMotion, expression
from composer.demo.library import HALFWAY, library_of
from composer.errors import MoueError
from composer.head.head import Head
from composer.head.levels import levels, refine
from tests.composer.demo.library_fixtures import NAMES, face

# Ekman and Friesen 1978, prototypes as quoted by later reviews; contempt: Ekman and Friesen 1986, one-sided
PROTOTYPES = {
    "joy": {"au06", "au12", "au25"}, "sadness": {"au01", "au04", "au15"}, "disgust": {"au10", "au17", "au04"},
    "anger": {"au04", "au05", "au07", "au24"}, "surprise": {"au01", "au02", "au05", "au26"},
    "fear": {"au01", "au02", "au04", "au05", "au20", "au25"}, "contempt": {"au14_left"},
}  # fmt: skip


WRINKLED = ("joy", "sadness", "anger", "surprise")


@lru_cache(maxsize=1)
def finer() -> Head:
    return library_of(face("keeper").neutral, 1, names=WRINKLED, posing=face("keeper").posing)


@pytest.mark.parametrize("name", PROTOTYPES)
def test_expressions_hold_the_published_units(name: str) -> None:
    assert set(expression(name).units) >= PROTOTYPES[name]


def test_there_are_sixteen_and_all_are_shapes() -> None:
    assert len(EXPRESSION_NAMES) == len(set(EXPRESSION_NAMES)) == 16
    assert set(EXPRESSION_NAMES) <= set(face("keeper").head.shape_names)
    with pytest.raises(MoueError, match="joy"):
        expression("joi")


@pytest.mark.parametrize("name", NAMES)
def test_recorded_head_motion_is_found_again_in_what_is_rigid(name: str) -> None:
    subject = face(name)
    still = subject.anatomy.parts["teeth_upper"]
    moving = 0
    for each in EXPRESSIONS:
        before = subject.head.neutral[still]
        after = before + subject.head.shape(each.name).delta[still]
        if each.motion == HeadMotion():
            np.testing.assert_array_equal(after, before)
            continue
        moving += 1
        a, b = before - before.mean(0), after - after.mean(0)
        u, _, v = np.linalg.svd(b.T @ a)  # Umeyama 1991, equation 40 without scale
        turn = u @ np.diag([1, 1, np.linalg.det(u @ v)]) @ v
        np.testing.assert_allclose(turn, each.motion.matrix()[:3, :3], atol=1e-5)
        np.testing.assert_allclose(after.mean(0) - turn @ before.mean(0), each.motion.matrix()[:3, 3], atol=1e-3)
    assert 3 <= moving <= 10


def test_some_shapes_have_an_in_between_off_the_straight_line() -> None:
    head = face("keeper").head
    for name in HALFWAY:
        shape = head.shape(name)
        assert [b.at for b in shape.inbetweens] == [0.5]
    bent = {
        n: np.linalg.norm(head.shape(n).inbetweens[0].delta - 0.5 * head.shape(n).delta, axis=1).max() for n in HALFWAY
    }
    assert bent["au43_left"] > 0.3 and bent["au12_left"] > 0.05


def test_a_level_adds_wrinkles_to_the_subdivided_cage_where_its_units_work() -> None:
    subject, head = face("keeper"), finer()
    factors = levels(subject.neutral.polygons, 1)
    skin = head.skin
    lift = {}
    for name in WRINKLED:
        cage = subject.head.neutral + subject.head.shape(name).delta
        detail = np.linalg.norm(head.target(name) - refine(cage, factors), axis=1)
        assert detail[~skin].max() < 1e-4, name
        assert 0.4 < detail[skin].max() < 3.0, name
        assert (detail[skin] > 0.1).mean() < 0.25, name
        lift[name] = detail
    forehead = (head.neutral[:, 1] > 35) & (head.neutral[:, 2] > 60)
    temple = (np.abs(head.neutral[:, 0]) > 50) & (np.abs(head.neutral[:, 1]) < 15) & (head.neutral[:, 2] > 40)
    assert lift["surprise"][forehead].max() > 4 * lift["anger"][forehead].max()
    assert lift["joy"][temple].max() > 0.3 > 0.05 > lift["surprise"][temple].max()


def test_the_neutral_of_a_level_is_the_subdivided_neutral() -> None:
    subject, head = face("keeper"), finer()
    np.testing.assert_allclose(
        head.neutral, refine(subject.head.neutral, levels(subject.neutral.polygons, 1)), atol=1e-9
    )
    assert head.shape_names == [name for name in subject.head.shape_names if name in WRINKLED]
    assert head.shapes[0].delta.dtype == np.float32
