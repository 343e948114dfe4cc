"""Parts take their masks from the skin: from one place where they are rigid, from the nearest skin where bound."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part, Shape
from composer.head.landmarks import Landmarks, SurfacePoint
from composer.mixing.anchors import anchors
from composer.mixing.linear import pose
from composer.mixing.recipe import Cell, Recipe
from tests.small_heads import grid


def with_parts(extra: np.ndarray, parts: tuple[Part, ...], landmarks: Landmarks | None = None) -> Head:
    """A flat skin of 6 x 6 vertices, 10 mm apart from (0, 0, 0), and loose vertices of parts after them."""
    skin = grid(6, 6)
    x, y = np.meshgrid(np.arange(6) * 10.0, np.arange(6) * 10.0, indexing="ij")
    flat = np.stack([x.ravel(), y.ravel(), np.zeros(36)], axis=1)
    everything = np.concatenate([flat, extra])
    delta = np.ones((len(everything), 3), dtype=np.float32)
    polygons = Polygons(skin.counts, skin.indices, len(everything))
    return Head("flat", polygons, everything, (Shape("lift", delta),), parts, landmarks=landmarks)


def ramp(head: Head) -> np.ndarray:
    """A mask that grows with x on the skin, and is nonsense at the parts."""
    return np.where(head.skin, head.neutral[:, 0] / 50.0, 0.123)


def test_what_follows_the_jaw_is_anchored_at_the_chin() -> None:
    teeth = np.array([[44.0, 25.0, -10.0], [30.0, 25.0, -10.0]])
    parts = (Part("teeth_lower", np.array([36, 37]), "jaw"),)
    head = with_parts(teeth, parts, Landmarks({"gnathion": 12}))
    moved = pose(head, {"jaw": ramp(head)}, Recipe("r", (Cell("jaw", "lift", 1.0),))) - head.neutral
    np.testing.assert_allclose(moved[36:], 20.0 / 50.0, atol=1e-6)


def test_an_eyeball_is_anchored_at_the_middle_of_its_own_lids() -> None:
    eyes = np.array([[12.0, 20.0, -6.0], [8.0, 20.0, -6.0], [42.0, 20.0, -6.0], [38.0, 20.0, -6.0]])
    parts = (Part("eye_right", np.array([36, 37])), Part("eye_left", np.array([38, 39]), "own"))
    marks = {
        "palpebrale_superius_right": 6 * 1 + 3, "palpebrale_inferius_right": 6 * 1 + 1,
        "palpebrale_superius_left": 6 * 4 + 3, "palpebrale_inferius_left": 6 * 3 + 1, "subnasale": 15,
    }  # fmt: skip
    head = with_parts(eyes, parts, Landmarks(marks))
    lifted = anchors(head).lift(ramp(head))
    np.testing.assert_allclose(lifted[36:], [0.2, 0.2, 0.7, 0.7], atol=1e-12)


def test_without_landmarks_a_rigid_part_goes_with_the_skin_nearest_to_its_centre() -> None:
    head = with_parts(np.array([[29.0, 9.0, -5.0], [31.0, 13.0, -5.0]]), (Part("tongue", np.array([36, 37]), "jaw"),))
    np.testing.assert_allclose(anchors(head).lift(ramp(head))[36:], 0.6, atol=1e-12)


def test_a_landmark_inside_a_polygon_will_do() -> None:
    place = SurfacePoint((6, 7, 13), (0.2, 0.2, 0.6))
    head = with_parts(np.zeros((1, 3)), (Part("tongue", np.array([36]), "jaw"),), Landmarks({"gnathion": place}))
    np.testing.assert_allclose(anchors(head).lift(ramp(head))[36], 0.4, atol=1e-12)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1))
def test_bound_vertices_take_the_mask_of_the_nearest_point_of_the_skin(seed: int) -> None:
    # trimesh.proximity.closest_point_naive is the independent search for the nearest point of the surface.
    proximity = pytest.importorskip("trimesh.proximity")
    trimesh = pytest.importorskip("trimesh")
    rng = np.random.default_rng(seed)
    lashes = rng.uniform([-5, -5, -8], [55, 55, 8], size=(7, 3))
    head = with_parts(lashes, (Part("lashes", np.arange(36, 43), "surface"),))
    bent = head.neutral.copy()
    bent[:36, 2] = 3 * rng.random(36)
    head = head.with_(neutral=bent)
    found = anchors(head)
    place = np.einsum("vij,vi->vj", head.neutral[found.corners], found.bary)
    skin = trimesh.Trimesh(head.neutral, head.polygons.triangles, process=False)
    _, nearest, _ = proximity.closest_point_naive(skin, lashes)
    np.testing.assert_allclose(np.linalg.norm(place - lashes, axis=1), nearest, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(found.bary.sum(axis=1), 1.0, atol=1e-12)
    assert found.bary.min() >= 0.0 and head.skin[found.corners].all()


def test_a_part_that_a_shape_does_not_move_stays_bit_for_bit() -> None:
    head = with_parts(np.array([[44.0, 25.0, -0.0]]), (Part("eye", np.array([36])),))
    delta = head.shapes[0].delta.copy()
    delta[36] = 0.0
    head = head.with_(shapes=(Shape("lift", delta),))
    moved = pose(head, {"jaw": ramp(head)}, Recipe("r", (Cell("jaw", "lift", 1.0), Cell("all", "lift", 1.0))))
    assert moved[36].tobytes() == head.neutral[36].tobytes()


def test_a_head_without_skin_keeps_its_own_masks() -> None:
    head = Head("eye", Polygons.from_faces([[0, 1, 2]], 3), np.eye(3), parts=(Part("eye", np.arange(3)),))
    assert np.array_equal(anchors(head).lift(np.array([0.1, 0.2, 0.3])), [0.1, 0.2, 0.3])


def test_the_skins_own_values_are_untouched() -> None:
    head = with_parts(np.zeros((1, 3)), (Part("tongue", np.array([36]), "jaw"),))
    mask = ramp(head)
    assert np.array_equal(anchors(head).lift(mask)[:36], mask[:36])
