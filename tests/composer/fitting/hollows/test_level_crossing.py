"""What crosses at finer levels is counted where CGAL finds it, at the place where it lies."""

from __future__ import annotations

import numpy as np

from composer.fitting.fit_words import finer_words
from composer.fitting.hollows.level_crossing import LevelCrossing, level_crossings
from composer.fitting.project import ProjectedLevel
from composer.geometry.part import part_of
from composer.head.head import Head
from composer.head.levels import Refinement
from tests.composer.geometry.test_self_crossing import cgal_faces
from tests.demo_heads import neutral_head


def lips_pushed(keeper: Head) -> np.ndarray:
    """The head with its lower lip pushed up through the upper one."""
    assert keeper.landmarks is not None
    lower = keeper.landmarks.curve_positions("lower_lip", keeper.neutral)
    away = np.linalg.norm(keeper.neutral[:, None] - lower[None, ::4], axis=2).min(axis=1)
    below = keeper.skin & (keeper.neutral[:, 1] < lower[:, 1].max())
    push = np.where(below, 4.0 * np.exp(-0.5 * (away / 6.0) ** 2), 0.0)
    return keeper.neutral + push[:, None] * [0.0, 1.0, 0.0]


def level(k: int, polygons: object, positions: np.ndarray, reference: np.ndarray) -> ProjectedLevel:
    none = np.zeros(len(positions), dtype=bool)
    return ProjectedLevel(k, polygons, positions, none, none, 0, 0, reference=reference)  # type: ignore[arg-type]


def test_a_level_is_counted_as_cgal_does_and_the_place_named() -> None:
    keeper = neutral_head("keeper")
    assert keeper.landmarks is not None
    pushed = lips_pushed(keeper)
    step = Refinement(keeper.polygons)
    fine = step.apply(pushed)
    neutral = step.apply(keeper.neutral)
    levels = [level(0, keeper.polygons, pushed, keeper.neutral), level(1, step.polygons, fine, neutral)]
    found = level_crossings(keeper, keeper.landmarks, levels)
    assert list(found) == [1]
    skin = np.flatnonzero(step.apply(keeper.skin.astype(float)) > 1.0 - 1e-9)
    expected = len(cgal_faces(part_of(step.polygons, skin), np.ascontiguousarray(fine[skin])))
    assert expected > 20 and sum(found[1].crossing.values()) == expected
    lips = found[1].crossing["lips"] + found[1].crossing["mouth's inside"]
    assert lips == expected and found[1].crossing_library["lips"] == 0
    plain = [levels[0], level(1, step.polygons, neutral, neutral)]
    nothing = level_crossings(keeper, keeper.landmarks, plain)[1]
    assert not any(nothing.crossing.values()) and nothing.crossing_library == {}
    assert level_crossings(keeper, keeper.landmarks, levels[:1]) == {}


def test_the_words_name_places_and_the_library_s_own() -> None:
    first = LevelCrossing({"lips": 3, "nose": 0}, {"lips": 1, "nose": 0})
    second = LevelCrossing({"lips": 1, "nose": 0}, {"lips": 0, "nose": 2})
    found = {1: first, 2: second, 3: LevelCrossing({"nose": 0}, {})}
    assert finer_words(found) == [
        "the same at finer levels: level 1 lips 3 (1); level 2 lips 1 (0), nose 0 (2); level 3 none"
    ]
    assert finer_words({}) == []
