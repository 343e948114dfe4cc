"""Where the search for head motion starts, and what the whole library says: cases in which each decides."""

from __future__ import annotations

import numpy as np

from composer.head.head import Head, Shape
from composer.head.landmarks import Landmarks
from composer.head.stabilise import head_motions
from tests.composer.head.test_stabilise import BALL, STEPS

LOW = BALL[:, 1] < 15.0  # more than half of the surface: by itself the motion that most of the surface agrees on


def head(shapes: dict[str, np.ndarray], landmarks: Landmarks | None = None) -> Head:
    made = tuple(Shape(name, delta.astype(np.float32)) for name, delta in shapes.items())
    return Head("ball", STEPS[-1].polygons, BALL, made, landmarks=landmarks)


def carried(by: list[float]) -> np.ndarray:
    return LOW[:, None] * np.array(by)


def test_landmarks_of_the_skull_say_where_the_search_starts() -> None:
    top = np.argsort(-BALL[:, 1])[:60]
    places = {name: int(top[k]) for k, name in enumerate(("sellion", "glabella", "vertex", "trichion"))}
    down = {"down": carried([0.0, -40.0, 0.0])}
    with_marks, without = head_motions(head(down, Landmarks(places, {})))["down"], head_motions(head(down))["down"]
    assert np.linalg.norm(with_marks.shift_mm) < 0.1
    assert np.linalg.norm(without.shift_mm) > 39.0


def test_what_moves_often_in_the_library_is_not_taken_for_the_skull() -> None:
    rng = np.random.default_rng(5)
    often = {f"mouth_{k}": LOW[:, None] * rng.normal(scale=3.0, size=BALL.shape) for k in range(4)}
    assert np.linalg.norm(head_motions(head({"down": carried([0.0, -4.0, 0.0])}))["down"].shift_mm) > 3.9
    found = head_motions(head({**often, "down": carried([0.0, -4.0, 0.0])}))
    assert np.linalg.norm(found["down"].shift_mm) < 0.1
