"""Laws of triangles that keep a share of their area in a field."""

from __future__ import annotations

import numpy as np

from composer.contact.faces import Faces
from composer.mixing.contact_guard import FaceGuard

UP = np.array([0.0, 0.0, 1.0])
LEFT = 0.25


def looking_up(places: np.ndarray, triangles: np.ndarray) -> Faces:
    """Triangles of places whose normals look up."""
    a, b, c = places[triangles].transpose(1, 0, 2)
    return Faces(places, triangles, np.cross(b - a, c - a), np.tile(UP, (len(places), 1)), LEFT)


def test_a_sliver_is_let_go_and_counts_the_more_the_higher_it_is() -> None:
    """Triangles of 1 mm by their height over the longest edge: none at a two-hundredth, wholly at a hundredth."""
    heights = np.array([0.002, 0.005, 0.0065, 0.008, 0.01, 0.5])
    places = np.array([[(0.0, i, 0.0), (1.0, i, 0.0), (0.5, i + h, 0.0)] for i, h in enumerate(heights)]).reshape(-1, 3)
    counts = looking_up(places, np.arange(len(places)).reshape(-1, 3)).counts
    assert counts[:2].max() < 1e-9
    assert counts[-2:].min() > 1.0 - 1e-9
    assert 0.0 < counts[2] < counts[3] < 1.0


def strip(height: float) -> tuple[np.ndarray, np.ndarray]:
    """A row of triangles about one that is only `height` mm high, all of which look up."""
    places = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [1.0, height, 0.0], [1.0, -2.0, 0.0], [1.0, 2.0, 0.0]])
    return places, np.array([[0, 1, 2], [3, 1, 0], [0, 2, 4], [2, 1, 4]])


def areas(places: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(t,) mm^2, as seen from above."""
    a, b, c = places[triangles].transpose(1, 0, 2)
    return np.asarray(0.5 * np.cross(b - a, c - a)[:, 2])


def test_no_triangle_falls_below_its_share_and_the_rest_of_a_correction_stands() -> None:
    """A whole correction of 3 mm stands but for the height that the flat triangle lacks."""
    places, triangles = strip(0.1)
    push = np.tile([0.0, 0.0, 3.0], (len(places), 1))
    push[2] += [0.0, -0.3, 0.0]  # through the side opposite to it
    faces = looking_up(places, triangles)
    held = FaceGuard(triangles, len(places)).held(faces, push)
    assert areas(places + push, triangles).min() < 0.0
    share = areas(places + held, triangles) / areas(places, triangles)
    assert share.min() > 0.9 * LEFT
    assert np.linalg.norm(held - push, axis=1).max() < 0.3


def test_a_correction_that_turns_nothing_over_is_left_alone() -> None:
    places, triangles = strip(0.5)
    push = np.random.default_rng(0).normal(size=places.shape) * 0.02
    faces = looking_up(places, triangles)
    assert FaceGuard(triangles, len(places)).held(faces, push) is push


def test_what_is_changed_grows_from_nothing_and_does_not_jump() -> None:
    """The flat triangle's corner goes through the opposite side in a hundred steps, and as its height changes."""
    thin, high = np.full(101, 0.1), np.linspace(0.05, 0.55, 101)
    for heights, ways in ((thin, np.linspace(0.0, 0.5, 101)), (high, np.full(101, 0.3))):
        last = None
        for height, way in zip(heights, ways, strict=True):
            places, triangles = strip(height)
            push = np.zeros_like(places)
            push[2, 1] = -way
            faces = looking_up(places, triangles)
            now = places + FaceGuard(triangles, len(places)).held(faces, push)
            assert last is None or np.abs(now - last).max() <= 5.0 * 0.005
            last = now
