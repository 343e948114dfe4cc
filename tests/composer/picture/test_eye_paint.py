"""What a ray sees of an eye, against the optics of one refracting surface, and lids found on skin made by formula."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from composer.geometry.polygons import Polygons
from composer.head.head import Head, Part
from composer.picture import eye_light as eye
from composer.picture.eye_paint import PUPIL, WHITE, seen_of
from composer.picture.eyeball import Eyeball
from composer.picture.figure import Figure
from composer.picture.lid_edges import NO_LIDS, PLACES, heights, lids_of, skin_triangles
from tests.composer.picture.test_pictures import ball

RADIUS = 12.0
AHEAD = Eyeball(np.array([30.0, 5.0, 60.0]), RADIUS, np.array([0.0, 0.0, 1.0]))
BARE = np.tile(NO_LIDS, (len(PLACES), 1))
WINDOW = np.array([-0.6, 0.5, 0.6])


def along_x(at: np.ndarray, lids: np.ndarray = BARE, pixel_mm: float = 0.01):  # type: ignore[no-untyped-def]
    """What parallel rays from the front see of a ball without a modelled cornea, `at` (k, 2) mm beside its axis."""
    points = np.column_stack([at, np.sqrt(np.maximum(RADIUS**2 - (at**2).sum(axis=1), 0.0))]) + AHEAD.centre
    sight = np.tile([0.0, 0.0, -1.0], (len(at), 1))
    return seen_of(AHEAD, lids, points, sight, WINDOW, pixel_mm)


def test_the_pupil_is_seen_through_the_cornea_as_large_as_one_refracting_surface_shows_it() -> None:
    """Refraction at one spherical surface, paraxial: 1/s' = n/s - (n - 1)/R, magnification n s'/s, of an object s
    behind the surface in a medium of index n (Hecht, Optics, chapter 5, "Refraction at spherical surfaces"; from
    memory). Gullstrand's eye, whose iris lies deeper, has an entrance pupil about an eighth larger (from memory)."""
    deep = eye.CORNEA_AHEAD + eye.CORNEA - eye.IRIS_AHEAD
    image = 1.0 / (eye.INDEX / deep - (eye.INDEX - 1.0) / eye.CORNEA)
    larger = eye.INDEX * image / deep
    x = np.linspace(0.0, 6.0, 1201)
    dark = np.linalg.norm(along_x(np.column_stack([x, 0.0 * x])).albedo - PUPIL, axis=1) < 0.25  # half way
    edge = float(x[np.flatnonzero(~dark)[0]]) / RADIUS
    assert 1.02 < larger < 1.2
    assert edge == pytest.approx(eye.PUPIL * eye.RIM_SINE * larger, rel=0.05)


def test_from_aside_the_pupil_is_seen_below_the_surface_and_lifted_by_the_cornea() -> None:
    """What lies in a denser medium is seen nearer to the surface than it is (Snell's law): behind where paint on the
    ball would be, and before where the bare disc is."""
    aside = np.radians(40.0)
    sight = -np.array([np.sin(aside), 0.0, np.cos(aside)])
    t = np.linspace(-10.0, 10.0, 2001)
    right = np.array([np.cos(aside), 0.0, -np.sin(aside)])
    deep = np.sqrt(RADIUS**2 - t**2)
    points = AHEAD.centre + t[:, None] * right - deep[:, None] * sight
    seen = seen_of(AHEAD, BARE, points, np.tile(sight, (len(t), 1)), WINDOW, 0.01)
    dark = np.linalg.norm(seen.albedo - PUPIL, axis=1) < 0.02
    middle = float(0.5 * (t[dark].min() + t[dark].max()))
    painted = float((AHEAD.axis * RADIUS) @ right)  # where paint on the ball itself would lie
    disc = float((AHEAD.axis * eye.IRIS_AHEAD * RADIUS) @ right)  # where the bare disc would lie
    assert painted + 0.2 < middle < disc - 0.2


def test_white_is_white_and_the_surface_of_cornea_and_ball_is_one() -> None:
    seen = along_x(np.array([[9.0, 0.0], [-9.0, 0.0], [0.0, 8.5]]))
    np.testing.assert_allclose(seen.albedo[2], WHITE, atol=0.05)
    x = np.linspace(-9.0, 9.0, 1801)
    wet = along_x(np.column_stack([x, 0.0 * x])).wet
    np.testing.assert_allclose(np.linalg.norm(wet, axis=1), 1.0, atol=1e-9)
    turn = np.degrees(np.arccos(np.clip((wet[1:] * wet[:-1]).sum(axis=1), -1.0, 1.0)))
    assert turn.max() < 0.8, "no edge where the cornea rises"


def test_a_wet_line_narrower_than_a_pixel_gives_as_much_light() -> None:
    lids = np.tile([0.3, -0.2], (len(PLACES), 1))
    y = np.linspace(-11.0, 0.0, 22001)
    total = [float(along_x(np.column_stack([0.0 * y, y]), lids, pixel).line.sum()) for pixel in (0.01, 0.5, 1.0)]
    np.testing.assert_allclose(total, total[0], rtol=0.12)
    assert not along_x(np.column_stack([0.0 * y, y])).line.any(), "an eye without lids has none"


def shell(upper_deg: float, lower_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Points and triangles of two lids on a ball 3 percent larger, whose edges have even elevations about x."""
    azimuth = np.radians(np.linspace(-84.0, 84.0, 43))
    points, triangles = [], []
    for first, last in ((upper_deg, 84.0), (lower_deg, -84.0)):
        elevation = np.radians(np.linspace(first, last, 18))
        a, e = np.meshgrid(azimuth, elevation)
        start = sum(len(p) for p in points)
        # elevation from the plane y = 0, so that each edge is the circle of one elevation
        points.append(np.stack([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)], axis=-1).reshape(-1, 3))
        at = np.arange(a.size).reshape(a.shape) + start
        one, two, three, four = at[:-1, :-1].ravel(), at[:-1, 1:].ravel(), at[1:, 1:].ravel(), at[1:, :-1].ravel()
        triangles += [np.column_stack([one, two, three]), np.column_stack([one, three, four])]
    return np.concatenate(points) * 1.03 * RADIUS + AHEAD.centre, np.concatenate(triangles)


def test_lids_are_found_where_they_stand_and_go_with_the_pose() -> None:
    """At x = 0 a place of elevation e has the stereographic height tan(e / 2) (Snyder, Map Projections, USGS
    Professional Paper 1395, 1987, page 154: half of 2 R tan)."""
    points, triangles = shell(20.0, -15.0)
    lids = lids_of(AHEAD, points, triangles)
    middle = np.argsort(np.abs(PLACES))[:2]
    for turned_deg in (0.0, -12.0, 9.0):
        turn = np.radians(turned_deg)
        pose = points.copy()
        local = points - AHEAD.centre
        up = local[:, 1] > 0.0
        matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        pose[up, 1:] = local[up, 1:] @ matrix + AHEAD.centre[1:]
        found = heights(lids, pose, AHEAD.centre)[middle].mean(axis=0)
        np.testing.assert_allclose(found, np.tan(np.radians([20.0 + turned_deg, -15.0]) / 2.0), atol=0.006)


def test_an_eye_without_skin_or_with_shut_lids_has_no_gap_and_no_line() -> None:
    points, triangles = shell(-2.0, 2.0)
    for skin in (np.empty((0, 3), dtype=np.int64), triangles):
        lids = lids_of(AHEAD, points, skin)
        assert lids is None
        np.testing.assert_array_equal(heights(lids, points, AHEAD.centre), BARE)


def test_lids_are_told_by_form_whatever_parts_are_called_and_nothing_is_told_of_no_eye() -> None:
    skin, faces = shell(25.0, -20.0)
    balls, ball_faces = ball(3, RADIUS)
    points = np.concatenate([skin, balls + AHEAD.centre])
    triangles = np.concatenate([faces, ball_faces + len(skin)])
    polygons = Polygons(np.full(len(triangles), 3), triangles.ravel(), len(points))
    part = Part("eye_left", np.arange(len(skin), len(points), dtype=np.int32))
    head = Head("lids", polygons, points, parts=(part,))
    figure = Figure.of(head, 0)
    assert len(figure.lids) == 1 and figure.lids[0] is not None
    assert set(figure.lids[0][0].corners.ravel()) < set(range(len(skin)))
    other = Figure(polygons, points, parts=(replace(part, name="eclipse"),), level=0, are={"eclipse": "eye"})
    np.testing.assert_array_equal(other.rest.lids[0], figure.rest.lids[0])
    assert skin_triangles(polygons, head.parts).max() < len(skin)
    bare = Figure(polygons, points, level=0, are={})
    assert bare.eyes_at_rest == () and bare.lids == [] and bare.rest.lids == ()
