"""Laws of triangles that keep a share of their area in a field."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.bench.turned_over import Orientations
from composer.contact.faces import Faces
from composer.contact.surroundings import Surroundings
from composer.mixing.contact_guard import FaceGuard

LEFT = 0.25
"""The share of its area that a triangle is to keep."""


def vectors(places: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(t, 3) twice the areas along the normals, by numpy's own cross product."""
    a, b, c = places[triangles].transpose(1, 0, 2)
    return np.cross(b - a, c - a)


def as_at_rest(places: np.ndarray, triangles: np.ndarray) -> Faces:
    """Triangles of a pose that is the rest."""
    own = vectors(places, triangles)
    return Faces(places, triangles, own, Surroundings(triangles, len(places)), places, own)


def held(places: np.ndarray, triangles: np.ndarray, push: np.ndarray, rest: np.ndarray | None = None) -> np.ndarray:
    """A push as the guard leaves it."""
    guard = FaceGuard(triangles, places if rest is None else rest)
    return guard.held(places, vectors(places, triangles), push)


def test_a_sliver_is_let_go_and_counts_the_more_the_higher_it_is() -> None:
    """Triangles of 1 mm by their height over the longest edge: none at a two-hundredth, wholly at a hundredth."""
    heights = np.array([0.002, 0.005, 0.0065, 0.008, 0.01, 0.5])
    places = np.array([[(0.0, i, 0.0), (1.0, i, 0.0), (0.5, i + h, 0.0)] for i, h in enumerate(heights)]).reshape(-1, 3)
    counts = as_at_rest(places, np.arange(len(places)).reshape(-1, 3)).counts(np.arange(len(heights)))
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
    kept = held(places, triangles, push)
    assert areas(places + push, triangles).min() < 0.0
    share = areas(places + kept, triangles) / areas(places, triangles)
    assert share.min() > 0.9 * LEFT
    assert np.linalg.norm(kept - push, axis=1).max() < 0.3


def test_a_correction_that_turns_nothing_over_is_left_alone() -> None:
    places, triangles = strip(0.5)
    push = np.random.default_rng(0).normal(size=places.shape) * 0.02
    assert held(places, triangles, push) is push


def test_what_is_changed_grows_from_nothing_and_does_not_jump() -> None:
    """The flat triangle's corner goes through the opposite side in a hundred steps, and as its height changes."""
    thin, high = np.full(101, 0.1), np.linspace(0.05, 0.55, 101)
    for heights, ways in ((thin, np.linspace(0.0, 0.5, 101)), (high, np.full(101, 0.3))):
        last = None
        for height, way in zip(heights, ways, strict=True):
            places, triangles = strip(height)
            push = np.zeros_like(places)
            push[2, 1] = -way
            now = places + held(places, triangles, push)
            assert last is None or np.abs(now - last).max() <= 5.0 * 0.005
            last = now


SIDE, RADIUS = 9, 2.5


def sheet() -> tuple[np.ndarray, np.ndarray]:
    """A flat sheet of unit squares, each of two triangles."""
    x, y = np.meshgrid(np.arange(SIDE, dtype=float), np.arange(SIDE, dtype=float), indexing="ij")
    at = np.arange(SIDE * SIDE).reshape(SIDE, SIDE)
    a, b, c, d = (each.ravel() for each in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return np.column_stack([x.ravel(), y.ravel(), np.zeros(SIDE * SIDE)]), triangles


def rolled(flat: np.ndarray) -> np.ndarray:
    """The sheet about a cylinder, and lifted: no triangle is stretched, the last ones turn by 180 degrees."""
    angle = flat[:, 0] / RADIUS
    return np.column_stack([RADIUS * np.sin(angle), flat[:, 1], RADIUS * (1.0 - np.cos(angle)) + flat[:, 2]])


def test_what_is_rolled_as_a_whole_is_left_alone() -> None:
    flat, triangles = sheet()
    push = rolled(flat) - flat
    assert held(flat, triangles, push) is push


@pytest.mark.parametrize("corner", [3 * SIDE + 4, 6 * SIDE + 3])
def test_a_triangle_is_held_against_its_surroundings_wherever_they_turn(corner: int) -> None:
    """A corner drawn over its opposite edges while the sheet is rolled up: judged by singular vectors (`Orientations`).
    """
    flat, triangles = sheet()
    drawn = flat.copy()
    drawn[corner, :2] += (1.4, 0.2)
    push, faces = rolled(drawn) - flat, np.arange(len(triangles))
    judge = Orientations(triangles, len(flat))
    assert judge.kept(flat, rolled(drawn), faces).min() < -0.5
    kept = held(flat, triangles, push)
    assert judge.kept(flat, flat + kept, faces).min() > 0.0
    changed = np.flatnonzero((kept != push).any(axis=1))
    assert np.linalg.norm(flat[changed] - flat[corner], axis=1).max() < 3.0


def test_a_triangle_that_the_pose_has_turned_over_is_let_go() -> None:
    """Held in a pose that is the rest, let go in the same pose where the rest looks the other way there."""
    flat, triangles = sheet()
    corner = 4 * SIDE + 4
    over = flat.copy()
    over[corner, :2] += (1.4, 0.2)
    push = np.zeros_like(flat)
    push[corner, 2] = 0.3
    own = vectors(over, triangles)
    faces = Faces(over, triangles, own, Surroundings(triangles, len(flat)), flat, vectors(flat, triangles))
    turned = np.flatnonzero(own[:, 2] < 0.0)
    assert 0 < len(turned) < 6
    assert not faces.counts(turned).any()
    assert as_at_rest(over, triangles).counts(turned).all()


def test_vectors_turn_with_what_is_about_them() -> None:
    """A rigid turn of all places turns every vector by the same."""
    flat, triangles = sheet()
    turn = Rotation.from_rotvec([0.4, 1.0, -2.0]).as_matrix()
    some = np.array([0, 3, len(triangles) - 1])
    given = np.random.default_rng(0).normal(size=(3, 3))
    found = Surroundings(triangles, len(flat)).turned(flat, flat @ turn.T + 2.0, some, given)
    np.testing.assert_allclose(found, given @ turn.T, atol=1e-12)
