"""Carrying between the demo's heads: contact, what is told by the checks, and there and back."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from composer.checks.limits import Limits
from composer.checks.lips import LIPS, lip_zones
from composer.checks.subject import CheckSubject, HeadFacts
from composer.fitting.carry import WAYS, Carrier, Way
from composer.geometry.nearest import NearestSurface
from composer.head.head import Head, Shape
from tests import demo_heads
from tests.demo_heads import library

NAMES = ("joy", "shout", "surprise", "sadness", "au43_left", "au43_right", "au24", "au28", "jaw_left", "wince",
         "gaze_down", "au12_left")  # fmt: skip
NEW = ("ferrier", "bellringer")
TOUCH_MM, MOST_MM = 0.2, 0.2


@cache
def keeper() -> Head:
    return library(shapes=NAMES)


@cache
def neutral(name: str) -> np.ndarray:
    return demo_heads.neutral(name).positions


@cache
def facts(name: str) -> HeadFacts:
    strict = Limits(lips_warning_mm=0.0)
    return HeadFacts(keeper().with_(neutral=neutral(name), shapes=()), strict)


@cache
def lips() -> tuple[tuple[np.ndarray, np.ndarray], ...]:
    zones = lip_zones(HeadFacts(keeper()))
    assert not isinstance(zones, str)
    return (zones.upper, zones.lower), (zones.lower, zones.upper)


def lips_apart(pose: np.ndarray) -> np.ndarray:
    """(k,) how far each vertex of the lips is outside the other lip."""
    pairs = lips()
    return np.concatenate([NearestSurface(pose, other)(pose[np.unique(own)]).signed for own, other in pairs])


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", NEW)
def test_contact_is_kept_on_the_new_head(name: str, way: Way) -> None:
    """Where the old lips touch the new ones are no further apart than at rest, nor deeper, by 0.2 mm; shut
    lids shut; lids keep off the eyeballs."""
    old, rest = keeper(), neutral(name)
    carrier = Carrier(old, rest, way)
    at_rest = lips_apart(rest)
    curve = facts(name).curve
    for shape in old.shapes:
        spose, pose = old.neutral + shape.delta, rest + carrier.carry(shape.delta)
        before, after = lips_apart(spose), lips_apart(pose)
        on = np.abs(before) < TOUCH_MM
        wider = float((after - np.maximum(np.maximum(at_rest, before), 0.0))[on].max(initial=0.0))
        assert wider <= MOST_MM, (shape.name, wider)
        through = list(LIPS.run(CheckSubject(facts(name), pose)))
        assert not through or (through[0].value or 0.0) <= MOST_MM, (shape.name, through[0].words)
        for side in ("left", "right"):
            upper, lower = curve(f"upper_lid_{side}"), curve(f"lower_lid_{side}")
            assert upper is not None and lower is not None
            if np.abs(spose[upper] - spose[lower]).max() < 0.05:
                assert np.linalg.norm(pose[upper] - pose[lower], axis=1).max() <= MOST_MM, shape.name
            part = old.part(f"eye_{side}")
            triangles = facts(name).part_triangles(part)
            skin = np.flatnonzero(old.skin & (np.linalg.norm(rest - rest[part.vertices].mean(axis=0), axis=1) < 30.0))
            ball = NearestSurface(pose, triangles)(pose[skin]).signed
            inside = np.maximum(-ball, 0.0) - np.maximum(-NearestSurface(rest, triangles)(rest[skin]).signed, 0.0)
            assert inside.max() <= 0.1, (shape.name, inside.max())


@pytest.mark.parametrize(("way", "most"), [("delta", 1e-6), ("frame", 0.06), ("gradient", 0.1)])
@pytest.mark.parametrize("name", NEW)
def test_there_and_back_gives_the_shape_within_a_bound(name: str, way: Way, most: float) -> None:
    """Without contact, no vertex is off by more than this share of the shape's furthest movement. Hairs of another
    person's brow grow from other places of the skin and move as these do, so they may be off by a tenth."""
    old = keeper()
    brows = np.isin(np.arange(old.n_vertices), [old.part(f"brow_{side}").vertices for side in ("left", "right")])
    there = Carrier(old, neutral(name), way, contact=False)
    carried = [there.carry(shape.delta) for shape in old.shapes]
    shapes = tuple(Shape(s.name, u.astype(np.float32)) for s, u in zip(old.shapes, carried, strict=True))
    back = Carrier(old.with_(neutral=neutral(name), shapes=shapes), old.neutral, way, contact=False)
    for shape, moved in zip(old.shapes, carried, strict=True):
        off = np.linalg.norm(back.carry(moved) - shape.delta, axis=1)
        assert off[~brows].max() <= most * shape.furthest_mm, (shape.name, off[~brows].max())
        assert off[brows].max() <= max(most, 0.1) * shape.furthest_mm, (shape.name, off[brows].max())
