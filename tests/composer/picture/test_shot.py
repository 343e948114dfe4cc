"""Which pixels get more rays, vectors as planes, and rays that are cast once; numpy's own products are the judge."""

from __future__ import annotations

import numpy as np

from composer.picture import planes
from composer.picture.camera import frame, look
from composer.picture.figure import Figure
from composer.picture.rays import Rays
from composer.picture.shot import _bends, _edges
from tests.composer.picture.test_pictures import egg_head


def test_an_even_slope_is_no_border_of_colours_and_a_step_is_one() -> None:
    slope = np.repeat(np.linspace(0.0, 1.0, 11, dtype=np.float32)[None, :, None], 5, axis=0) * np.ones(3, np.float32)
    assert _edges(slope).all() and not _bends(slope).any()
    step = (slope > 0.55).astype(np.float32)
    for found in (_edges(step), _bends(step)):
        np.testing.assert_array_equal(np.flatnonzero(found.any(axis=0)), [5, 6])
    np.testing.assert_array_equal(_bends(np.swapaxes(step, 0, 1)), _bends(step).T)


def test_products_of_planes_are_those_of_rows() -> None:
    one, other = np.random.default_rng(3).normal(size=(2, 40, 3))
    a, b = planes.as_planes(one), planes.as_planes(other)
    np.testing.assert_allclose(planes.dot(a, b), (one * other).sum(axis=1), atol=1e-5)
    np.testing.assert_allclose(planes.as_rows(planes.cross(a, b)), np.cross(one, other), atol=1e-5)
    np.testing.assert_allclose(np.linalg.norm(planes.unit(a), axis=0), 1.0, atol=1e-6)
    assert not planes.unit(np.zeros((3, 2), dtype=np.float32)).any()


def test_what_known_cameras_see_is_what_their_rays_meet() -> None:
    head = egg_head()
    camera = frame(head.neutral, look((0.3, 0.1, 1.0)), (60, 80), 0.8)
    figure = Figure.of(head, 0, [camera])
    ((known, hits),) = figure.rest.seen
    rows, columns = np.mgrid[:80, :60]
    sight = camera.directions(columns.ravel() + 0.5, rows.ravel() + 0.5)
    fresh = Rays(head.neutral, figure.triangles).first(np.broadcast_to(camera.eye, sight.shape), sight)
    assert known is camera and (hits.triangle >= 0).sum() > 500
    np.testing.assert_array_equal(hits.triangle, fresh.triangle)
    on = np.flatnonzero(hits.triangle >= 0)[::7]
    corners = head.neutral[figure.triangles[hits.triangle[on]]]
    weights = np.stack([1.0 - hits.u[on] - hits.v[on], hits.u[on], hits.v[on]], axis=1)
    seen, _ = camera.project((weights[:, :, None] * corners).sum(axis=1))
    np.testing.assert_allclose(seen, np.stack([columns.ravel()[on] + 0.5, rows.ravel()[on] + 0.5], 1), atol=0.02)
