"""A head turned about, pictures without a ground, the lights, and how fine a head is pictured."""

from __future__ import annotations

import math

import numpy as np
import pytest

from composer.cli.sheet import LightName
from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.levels import levels, refine
from composer.picture.camera import frame
from composer.picture.colour import to_linear, to_srgb
from composer.picture.fine_enough import EDGE_PIXELS, level_for
from composer.picture.ground import ground_rows
from composer.picture.lamps import LIGHTS
from composer.picture.render import Studio
from composer.picture.sheet import Entry, contact_sheet, shapes_of, still
from composer.picture.turntable import around, turntable
from composer.picture.views import axes_of
from tests.composer.picture.test_pictures import ball, egg_head


@pytest.fixture(scope="module")
def studio() -> Studio:
    return Studio.of(egg_head(), 0)


def test_cameras_go_evenly_round_an_upright_axis_and_hold_the_head_from_every_side() -> None:
    points = np.random.default_rng(8).uniform([-90, -130, -60], [60, 120, 140], (400, 3))
    cameras = around(points, "three_quarter", 10, (200, 300))
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    first = cameras[0].eye - middle
    for i, camera in enumerate(cameras):
        from_there = camera.eye - middle
        turn = math.atan2(from_there[0], from_there[2]) - math.atan2(first[0], first[2])
        assert math.remainder(turn - 2 * math.pi * i / 10, 2 * math.pi) == pytest.approx(0.0, abs=1e-9)
        assert from_there[1] == pytest.approx(first[1])
        np.testing.assert_allclose(camera.axes @ camera.axes.T, np.eye(3), atol=1e-12)
        seen, _ = camera.project(points)
        assert (seen > 0.0).all() and (seen < [200, 300]).all()
    np.testing.assert_allclose(cameras[0].axes, axes_of("three_quarter"), atol=1e-12)


def test_a_clear_picture_over_the_ground_is_the_picture_on_the_ground(studio: Studio) -> None:
    """The operator "over" in linear light. Porter and Duff, Compositing Digital Images, 1984, section 4."""
    clear = np.asarray(studio.picture(view="three_quarter", size=(150, 180), clear=True)) / 255.0
    plain = np.asarray(studio.picture(view="three_quarter", size=(150, 180))) / 255.0
    alpha = clear[:, :, 3:]
    assert alpha[0].max() == 0.0 and alpha[90, 75] == 1.0 and ((alpha > 0.0) & (alpha < 1.0)).sum() > 100
    ground = to_linear(ground_rows(clear.shape[0]))[:, None]
    over = to_srgb(alpha * to_linear(clear[:, :, :3]) + (1.0 - alpha) * ground)
    apart = np.abs(over - plain).max(axis=2) * 255.0
    assert np.quantile(apart, 0.99) < 2.0 and apart.max() < 14.0  # edges that the ground hides have fewer rays in one


def bright_side(image) -> float:
    """Where the light of a picture lies, from -1 at its left to 1 at its right."""
    grey = np.asarray(image).astype(float)
    weight = grey[:, :, :3].mean(axis=2) * (grey[:, :, 3] == 255)
    across = np.linspace(-1.0, 1.0, grey.shape[1])
    held = (grey[:, :, 3] == 255).sum(axis=0) @ across / (grey[:, :, 3] == 255).sum()
    return float((weight.sum(axis=0) @ across) / weight.sum() - held)


def test_one_light_follows_the_view_and_three_stand_about_the_head() -> None:
    assert [name for name, lamps in LIGHTS.items() if lamps.follows] == ["view"] and len(LIGHTS) == 4
    assert {light.value for light in LightName} == set(LIGHTS)
    at, faces = ball(3, 100.0)
    round_ = Studio.of(Head("ball", Polygons(np.full(len(faces), 3), faces.ravel(), len(at)), at), 0)
    sides = {}
    for name in ("view", "daylight"):
        turn = turntable(round_, frames=4, size=(60, 60), light=name, clear=True, workers=1)
        sides[name] = [bright_side(one) for one in turn]
    assert sides["view"][0] < -0.03 and sides["view"] == pytest.approx([sides["view"][0]] * 4, abs=0.01)
    assert sides["daylight"][0] < -0.03 and sides["daylight"][3] > 0.03  # from its own side the window is at the right
    fronts = {name: np.asarray(round_.picture(size=(40, 40), light=name))[20, 20].mean() for name in LIGHTS}
    assert fronts["rim"] < min(fronts["daylight"], fronts["studio"]) - 40
    with pytest.raises(MoueError, match="no light is named 'moon'"):
        turntable(round_, frames=2, light="moon")


def test_the_number_of_workers_changes_no_byte(studio: Studio) -> None:
    head = egg_head()
    one, two = (
        contact_sheet(studio, shapes_of(head), title="Egg", cell_width=100, workers=n).image.tobytes() for n in (1, 2)
    )
    assert one == two
    turns = [turntable(studio, head.target("drop"), frames=3, size=(60, 80), workers=n) for n in (1, 2)]
    assert [each.tobytes() for each in turns[0]] == [each.tobytes() for each in turns[1]]


def test_a_still_has_the_size_that_was_asked_for_and_holds_the_pose(studio: Studio) -> None:
    picture = still(studio, Entry("drop", egg_head().target("drop")), size=(211, 97), clear=True)
    alpha = np.asarray(picture)[:, :, 3]
    assert picture.size == (211, 97) and picture.mode == "RGBA"
    assert not alpha[0].any() and not alpha[-1].any() and alpha.max() == 255


def test_a_pose_for_one_camera_looks_as_one_for_all(studio: Studio) -> None:
    pose = egg_head().target("drop")
    camera = frame(pose, axes_of("front"), (150, 180), 0.8)
    of_all = studio.picture(posed=studio.figure.posed(pose), camera=camera)
    of_one = studio.picture(pose, camera=camera)
    apart = np.abs(np.asarray(of_all).astype(int) - np.asarray(of_one).astype(int)).max(axis=2)
    assert apart.mean() < 1.0 and np.quantile(apart, 0.999) < 12


def test_a_head_is_made_as_fine_as_its_picture_can_show() -> None:
    head = egg_head()
    found = [level_for(head, (size, size)) for size in (60, 400, 1200, 4096)]
    assert found == sorted(found) and found[0] == 1 and found[-1] > found[0]
    factors = levels(head.polygons, found[2])
    fine, (a, b) = refine(head.neutral, factors), factors[-1].polygons.edges.T
    edge = float(np.median(np.linalg.norm(fine[a] - fine[b], axis=1)))
    assert edge * 1200 / float(np.ptp(head.neutral, axis=0)[:2].max()) < 1.15 * EDGE_PIXELS
    near = level_for(head, (400, 400), np.array([[-20.0, 0.0, 60.0], [20.0, 30.0, 120.0]]))
    assert near > found[1]
