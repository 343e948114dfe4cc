"""Teeth through skin, lids cut by chords, and volumes: against closed forms, trimesh and what was planted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.checks.penetration import Sides, added_depths, inner_depths
from composer.checks.registry import chosen
from composer.checks.subject import CheckSubject
from composer.checks.volume import cone_volume, patch_of
from composer.geometry.nearest import NearestSurface
from composer.geometry.polygons import Polygons
from composer.geometry.self_intersection import crossing_pairs
from composer.head.head import Head, Part, Shape
from composer.mixing.recipe import Cell, Recipe
from tests.composer.checks.check_heads import box, is_lower, lips_head, plane


def found(subject, name):
    return list(chosen([name])[0].run(subject))


def tooth_head(gap=1.0, thick=0.0):
    """A square of skin in z = 0 that faces -z, the inside of a lip, and a tooth `gap` mm behind it; and, for a lip
    that is `thick` mm, its outer side before it."""
    polygons, points = plane(16, 40.0)
    quads = polygons.indices.reshape(-1, 4)[:, ::-1]
    if thick:
        quads = np.concatenate([quads, quads[:, ::-1] + len(points)])
        points = np.concatenate([points, points + [0.0, 0.0, thick]])
    tooth, faces = box((0.3, 0.2, -gap - 4.0), (3.0, 3.0, 4.0), 4)
    counts = np.concatenate([np.full(len(quads), 4), np.full(len(faces), 3)])
    indices = np.concatenate([quads.ravel(), (faces + len(points)).ravel()])
    part = Part("teeth_upper", np.arange(len(points), len(points) + len(tooth), dtype=np.int32))
    whole = np.concatenate([points, tooth])
    return Head("tooth", Polygons(counts, indices, len(whole)), whole, parts=(part,))


@pytest.mark.parametrize(("gap", "pressed"), [(1.0, 1.4), (1.0, 2.5), (0.2, 1.5)])
def test_a_tooth_in_the_flesh_of_a_lip_is_noted_as_deep_as_it_is(gap, pressed):
    head = tooth_head(gap)
    pose = head.neutral.copy()
    pose[head.skin, 2] -= pressed
    (finding,) = found(CheckSubject.of(head, pose), "parts")
    assert finding.code == "parts.inside" and finding.severity == "note" and finding.where == "teeth_upper"
    assert finding.value == pytest.approx(pressed - gap, abs=1e-9)
    # What of the tooth lies in the lip, by trimesh's ray parity in a thick slab of it, is listed.
    trimesh = pytest.importorskip("trimesh")
    slab = trimesh.creation.box(bounds=[[-20, -20, -pressed], [20, 20, 9.0]])
    tooth = head.parts[0].vertices
    assert set(tooth[slab.contains(pose[tooth])]) <= set(finding.vertices)


def test_a_tooth_that_comes_out_of_a_lip_is_an_error():
    head = tooth_head(1.0, thick=1.5)
    pose = head.neutral.copy()
    pose[head.skin, 2] -= 3.0  # the tip stands 0.5 mm out of the lip
    (finding,) = found(CheckSubject.of(head, pose), "parts")
    assert (finding.code, finding.severity) == ("parts.through", "error")
    assert "outer side" in finding.words
    # The centre of a triangle with one corner in z = -1 and two in z = -3 lies in -7/3: 2/3 mm behind the inner side
    # in -3, 5/6 mm behind the outer side in -1.5.
    assert finding.value == pytest.approx(2.0 / 3.0, abs=1e-9)


def test_a_lip_that_only_comes_near_a_tooth_is_clean():
    head = tooth_head(1.0)
    for pressed in (0.0, 0.5, 0.99):
        pose = head.neutral.copy()
        pose[head.skin, 2] -= pressed
        assert found(CheckSubject.of(head, pose), "parts") == []


def test_a_tooth_that_stands_in_the_skin_at_rest_and_stays_is_clean():
    head = tooth_head(-0.5)
    pose = head.neutral + [0.0, 0.0, 3.0]  # all together
    assert found(CheckSubject.of(head, pose), "parts") == []


def ball(radius=12.0, subdivisions=4):
    trimesh = pytest.importorskip("trimesh")
    return trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)


def test_a_triangle_that_cuts_a_ball_with_all_corners_outside_is_as_deep_as_its_chord():
    # A triangle in z = 11 cuts a ball of 12 by 1 mm; its corners lie 8 mm from the axis and more, outside.
    solid = ball()
    angle = np.radians([90.0, 210.0, 330.0])
    corner = np.stack([8.0 * np.cos(angle), 8.0 * np.sin(angle), np.full(3, 11.0)], axis=1)
    points = np.concatenate([corner, np.array(solid.vertices)])
    sphere = np.array(solid.faces) + 3
    triangle = np.array([[0, 1, 2]])
    away = points + np.where(np.arange(len(points)) < 3, 9.0, 0.0)[:, None] * [0.0, 0.0, 1.0]
    assert len(crossing_pairs(points, triangle, sphere)) and not len(crossing_pairs(away, triangle, sphere))
    surface = NearestSurface(points, sphere)
    sides = Sides(surface, surface)
    assert added_depths(away, points, np.arange(3), sides).max() == 0.0
    depth = inner_depths(away, points, triangle, sides)[0]
    igl = pytest.importorskip("igl")
    inner = np.array([corner.mean(axis=0), *(0.5 * (corner + np.roll(corner, 1, axis=0)))])
    signed = igl.signed_distance(inner, np.array(solid.vertices), np.array(solid.faces).astype(np.int32))[0]
    np.testing.assert_allclose(depth, -signed.min(), atol=1e-9)
    assert depth == pytest.approx(1.0, abs=0.05)
    assert inner_depths(points, points, triangle, sides)[0] == 0.0  # the same at rest


@given(st.floats(0.3, 3.0), st.integers(0, 2**31 - 1))
def test_a_cone_volume_is_turned_and_moved_along_and_grows_with_the_cube(scale, seed):
    shell = np.array(ball(subdivisions=2).vertices)
    faces = np.array(ball(subdivisions=2).faces)
    cap = faces[(shell[faces][:, :, 2] > 3.0).all(axis=1)]
    patch = patch_of(shell, cap, flat=False)
    turned = scale * shell @ Rotation.random(random_state=seed).as_matrix().T + [5.0, -3.0, 8.0]
    assert patch.volume(turned) == pytest.approx(scale**3 * patch.rest, rel=1e-9)


def test_the_cone_over_half_a_sphere_is_half_its_volume():
    trimesh = pytest.importorskip("trimesh")
    corners = np.concatenate([np.eye(3), -np.eye(3)])
    solid = trimesh.convex.convex_hull(corners).subdivide().subdivide().subdivide().subdivide()
    solid.vertices *= 10.0 / np.linalg.norm(solid.vertices, axis=1)[:, None]  # an octahedron, round: it has an equator
    points, faces = np.array(solid.vertices), np.array(solid.faces)
    upper = faces[(points[faces][:, :, 2] >= -1e-9).all(axis=1)]
    border = np.flatnonzero(np.abs(points[:, 2]) < 1e-9)
    assert len(upper) == len(faces) // 2
    assert cone_volume(points, upper, border) == pytest.approx(2.0 / 3.0 * np.pi * 1000.0, rel=0.01)
    assert cone_volume(points, upper, border) == pytest.approx(0.5 * solid.volume, rel=1e-9)


def test_a_lip_that_is_squeezed_flat_loses_its_volume_and_one_that_moves_does_not():
    head = lips_head(gap=1.0)
    lower = is_lower(head)
    pose = head.neutral.copy()
    pose[lower] *= [1.0, 1.0, 0.4]
    findings = found(CheckSubject.of(head, pose), "volume")
    assert [(f.code, f.where) for f in findings] == [("volume.loss", "lower lip")]
    moved = head.neutral.copy()
    moved[lower] += [0.0, -9.0, 2.0]
    assert found(CheckSubject.of(head, moved), "volume") == []
    own = head.with_(shapes=(Shape("thin", (pose - head.neutral).astype(np.float32)),))
    recipe = Recipe("r", (Cell("all", "thin", 1.0),))
    assert found(CheckSubject.of(own, pose, recipe=recipe), "volume") == []


@pytest.mark.parametrize(("rise", "code"), [(9.0, "volume.gain"), (-9.0, "volume.loss"), (0.5, None)])
def test_a_cheek_that_swells_or_falls_in_is_found(rise, code):
    polygons, points = plane(24, 60.0)
    head = Head("cheek", polygons, points)
    masks = {"cheek_left": (np.linalg.norm(points[:, :2], axis=1) < 20.0).astype(float)}
    pose = points + np.maximum(1.0 - (np.linalg.norm(points[:, :2], axis=1) / 20.0) ** 2, 0.0)[:, None] * [0, 0, rise]
    findings = found(CheckSubject.of(head, pose, masks=masks), "volume")
    assert [f.code for f in findings] == ([code] if code else [])
