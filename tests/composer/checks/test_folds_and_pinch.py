"""Folds and pinches are found as sharp and as strong as they were planted, and the shapes' own are not reported."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.checks.folds import edge_angles
from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject, HeadFacts
from composer.geometry.polygons import Polygons
from composer.geometry.triangle_metric import area_vectors
from composer.head.head import Head, Shape
from composer.mixing.recipe import Cell, Recipe
from tests.composer.checks.check_heads import plane_head

WIDER = [[1.3, 0, 0], [0, 1, 0], [0, 0, 1]]
TWO = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2]], 6)
FLAT = np.array([[-1.0, 0, 0], [0, 0, 0], [0, 1, 0], [-1, 1, 0], [1, 0, 0], [1, 1, 0]])


def bent(degrees):
    """Two unit squares that meet along the y axis, the right one turned about it by `degrees`, up for positive."""
    points = FLAT.copy()
    turn = np.radians(degrees)
    points[4:, 0], points[4:, 2] = np.cos(turn), np.sin(turn)
    return points


@given(st.floats(-179.0, 179.0), st.integers(0, 2**31 - 1))
def test_the_angle_of_two_squares_is_the_turn_between_them(degrees, seed):
    # Closed form: the second square's normal is the first one's, turned by the same angle about the common edge.
    points = bent(degrees) @ Rotation.random(random_state=seed).as_matrix().T
    areas = area_vectors(TWO, points, np.arange(2))
    found = edge_angles(areas[:1], areas[1:], (points[2] - points[1])[None])[0]
    assert found == pytest.approx(-degrees, abs=1e-9)  # up is a furrow, seen from above


def test_angles_are_those_that_trimesh_finds_on_a_crumpled_sheet():
    # trimesh.Trimesh.face_adjacency_angles, an independent implementation; it gives them without a sign.
    trimesh = pytest.importorskip("trimesh")
    head = plane_head({}, n=6)
    triangles = head.polygons.triangles
    head = Head("t", Polygons(np.full(len(triangles), 3), triangles.ravel(), head.n_vertices), head.neutral)
    pose = head.neutral + np.random.default_rng(2).normal(size=head.neutral.shape) * 4.0
    edges, pairs = HeadFacts(head).skin_edges
    areas = area_vectors(head.polygons, pose, np.arange(head.polygons.n_faces))
    found = edge_angles(areas[pairs[:, 0]], areas[pairs[:, 1]], pose[edges[:, 1]] - pose[edges[:, 0]])
    mesh = trimesh.Trimesh(pose, triangles, process=False)
    expected = {tuple(sorted(p)): a for p, a in zip(mesh.face_adjacency, mesh.face_adjacency_angles, strict=True)}
    assert len(expected) == len(pairs)
    np.testing.assert_allclose(
        np.abs(found), [np.degrees(expected[tuple(sorted(pair))]) for pair in pairs], atol=1e-6
    )
    convex = {tuple(sorted(p)): c for p, c in zip(mesh.face_adjacency, mesh.face_adjacency_convex, strict=True)}
    assert all((angle > 0.0) == convex[tuple(sorted(p))] for angle, p in zip(found, pairs, strict=True))


def two_squares(*shapes):
    made = tuple(Shape(f"bend{angle:g}", (bent(angle) - FLAT).astype(np.float32)) for angle in shapes)
    return Head("two", TWO, FLAT, shapes=made)


def found(head, pose, name, recipe=None):
    return list(chosen([name])[0].run(CheckSubject.of(head, pose, name="p", recipe=recipe)))


@pytest.mark.parametrize("degrees", [95.0, -130.0, 175.0])
def test_a_fold_is_found_as_sharp_as_it_is(degrees):
    (finding,) = found(two_squares(), bent(degrees), "folds")
    assert finding.code == "folds.folded" and finding.value == pytest.approx(abs(degrees))
    assert finding.vertices.tolist() == [1, 2]
    assert finding.severity == ("error" if abs(degrees) > 90.0 else "warning")


@pytest.mark.parametrize("degrees", [0.0, 45.0, -75.0])
def test_a_bend_is_no_fold(degrees):
    assert found(two_squares(), bent(degrees), "folds") == []


def test_a_fold_that_a_shape_makes_alone_is_its_own_and_the_other_way_round_is_not():
    head = two_squares(100.0)
    recipe = Recipe("r", (Cell("all", "bend100", 1.0),))
    assert found(head, bent(110.0), "folds", recipe) == []
    (finding,) = found(head, bent(-100.0), "folds", recipe)
    assert finding.value == pytest.approx(100.0)


def test_a_pinch_beyond_the_shapes_is_found_and_measured():
    head = plane_head({"wider": WIDER})
    recipe = Recipe("r", (Cell("all", "wider", 1.0),))
    pose = head.neutral * [1.0, 0.25, 1.0]  # a quarter as tall counts as four times: 300 percent
    (finding,) = found(head, pose, "pinch", recipe)
    assert finding.code == "pinch.crushed" and finding.severity == "error"
    assert finding.value == pytest.approx(300.0, abs=0.1)
    assert found(head, pose, "stretch", recipe) == []


def test_a_pinch_of_a_shapes_own_is_clean():
    head = plane_head({"flat": [[1, 0, 0], [0, 0.4, 0], [0, 0, 1]]})
    recipe = Recipe("r", (Cell("all", "flat", 1.0),))
    assert found(head, head.target("flat"), "pinch", recipe) == []


@given(st.lists(st.floats(0.3, 2.0), min_size=2, max_size=2))
def test_area_vectors_of_a_rectangle_are_its_area(sides):
    areas = area_vectors(TWO, FLAT * [*sides, 1.0], np.arange(2))
    np.testing.assert_allclose(areas, [[0.0, 0.0, sides[0] * sides[1]]] * 2, atol=1e-12)
