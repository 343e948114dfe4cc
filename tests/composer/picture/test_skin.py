"""How skin answers light, and where blood shows through it, on surfaces whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from composer.geometry.polygons import Polygons
from composer.picture import skin_light
from composer.picture.camera import frame, look
from composer.picture.eyeball import Eyeball
from composer.picture.figure import Figure
from composer.picture.flush import flushed, lid_rims, thin
from composer.picture.ground import ABOVE, BACKGROUND, BELOW, ground_rows
from composer.picture.light import Light
from composer.picture.material import SKIN, SKIN_SHEEN
from composer.picture.palette import OKABE_ITO
from composer.picture.rays import Rays
from composer.picture.render import Studio
from tests.composer.picture.test_pictures import ball, egg_head

ANGLES = np.radians(np.arange(0.0, 180.0, 5.0))


def turned_away(light: Light, **given: float) -> np.ndarray:
    """(3, k) light of the window alone that leaves white places, turned away from it by `ANGLES`."""
    k = len(ANGLES)
    some = {name: np.full(k, value, dtype=np.float32) for name, value in given.items()}
    return light._from_window(np.cos(ANGLES).astype(np.float32), some["open_"], some["lit"], some["bare"])


@pytest.fixture(scope="module")
def light() -> Light:
    points, _ = ball(1, 50.0)
    return Light(frame(points, look((0.0, 0.0, 1.0)), (40, 40), 0.8))


def test_skin_in_full_light_follows_lamberts_cosine_and_runs_on_in_red_first(light: Light) -> None:
    """Lambert's cosine law (Photometria, 1760) where the surface faces the light; beyond a channel's reach, nothing."""
    given = turned_away(light, open_=1.0, lit=1.0, bare=1.0)
    for channel, reach in zip(given, skin_light.REACH, strict=True):
        facing = np.cos(ANGLES) >= reach
        np.testing.assert_allclose(channel[facing], np.cos(ANGLES)[facing], atol=1e-6)
        assert np.abs(channel[np.cos(ANGLES) < -reach]).max() < 1e-6
        assert (np.diff(channel) < 1e-6).all(), "it never grows with the angle"
    border = np.flatnonzero(np.isclose(np.cos(ANGLES), 0.0, atol=1e-6))
    assert border.size and given[0, border] > 1.5 * given[1, border] > 1.5 * given[2, border]


@pytest.mark.parametrize("lit", [0.0, 0.3, 1.0])
def test_a_colour_with_a_meaning_is_not_tinted_by_the_skin_below_it(light: Light, lit: float) -> None:
    given = turned_away(light, open_=0.7, lit=lit, bare=0.0)
    np.testing.assert_allclose(given, np.repeat(given[1:2], 3, axis=0), atol=1e-6)


def test_the_colours_of_regions_stay_apart_on_skin_as_they_were_chosen() -> None:
    """Every colour of Okabe and Ito's set, laid over the head, is nearer to itself than to any other of the set or to
    skin: in the picture's chromaticity, hue and saturation (r, g of r + g + b), at every place in light and shade."""
    studio = Studio.of(egg_head(), 0)
    camera = studio.camera("front", (60, 72))
    n = len(studio.figure.neutral)
    covers = [np.tile(np.append(np.array(colour) / 255.0, 1.0), (n, 1)) for colour in OKABE_ITO]
    pictures = [np.asarray(each).astype(float) for each in studio.pictures(camera, [None, *covers])]
    at = (slice(20, 60, 8), slice(16, 48, 8))
    seen = np.stack([picture[at].reshape(-1, 3) for picture in pictures])  # (8, places, 3)
    share = seen / seen.sum(axis=2, keepdims=True)
    named = np.array(OKABE_ITO, dtype=float)
    named /= named.sum(axis=1, keepdims=True)
    away = np.linalg.norm(share[1:, :, None] - named[None, None], axis=3)  # (7, places, 7)
    assert (away.argmin(axis=2) == np.arange(7)[:, None]).all()
    assert np.linalg.norm(share[1:] - share[0], axis=2).min() > 0.02


@pytest.mark.parametrize("thickness", [1.0, 3.0, 6.0])
def test_how_thin_a_slab_is(thickness: float) -> None:
    """A ray at an angle a through a slab is as long as its thickness / cos a, so the shape diameter, each ray times its
    cosine (Shapira, Shamir and Cohen-Or 2008), is the thickness itself."""
    import trimesh

    slab = trimesh.creation.box(extents=(60.0, 60.0, thickness)).subdivide().subdivide().subdivide()
    points, normals = np.array(slab.vertices), np.array(slab.vertex_normals)
    middle = np.flatnonzero((np.abs(points[:, :2]) < 12.0).all(axis=1) & (points[:, 2] > 0.0))
    found = thin(points, normals, Rays(points, np.array(slab.faces)), middle, 10.0)
    np.testing.assert_allclose(found, 1.0 - (thickness - 0.2) / 10.0, atol=0.02)


def test_a_lid_is_red_by_how_near_it_lies_to_a_ball_and_without_balls_nothing_is() -> None:
    points, _ = ball(2, 1.0)
    one = Eyeball(np.array([2.0, 0.0, 0.0]), 10.0, np.array([0.0, 0.0, 1.0]))
    for away, least, most in ((1.01, 0.99, 1.0), (1.05, 0.1, 0.9), (1.2, 0.0, 0.0)):
        rim, lid = lid_rims(points * (10.0 * away) + one.centre, [one])
        assert least <= rim.min() and rim.max() <= most and (rim <= lid).all()
    assert not lid_rims(points, [])[0].any()
    bare = np.tile(SKIN, (len(points), 1)), np.full(len(points), SKIN_SHEEN)
    after = flushed(*bare, np.ones(len(points), dtype=bool), np.zeros(len(points)), points, [])
    np.testing.assert_array_equal(after[0], bare[0])
    np.testing.assert_array_equal(after[1], bare[1])


def test_a_thin_flap_is_redder_than_the_body_it_stands_on() -> None:
    """A body with an ear made of a plate 3 mm thick, told by nothing but its form."""
    import trimesh

    body = trimesh.creation.box(extents=(120.0, 160.0, 140.0)).subdivide().subdivide().subdivide()
    flap = trimesh.creation.box(extents=(30.0, 40.0, 3.0)).subdivide().subdivide()
    flap.apply_translation([80.0, 0.0, 0.0])
    both = trimesh.util.concatenate([body, flap])
    faces = np.array(both.faces)
    figure = Figure(Polygons(np.full(len(faces), 3), faces.ravel(), len(both.vertices)), both.vertices, level=0)
    thick, ear = (each[:, 1] for each in np.split(figure.albedo, [len(body.vertices)]))
    np.testing.assert_allclose(np.median(thick), SKIN[1], rtol=0.01)
    assert np.median(ear) < 0.9 * SKIN[1]


def test_the_ground_is_its_plain_colour_in_the_middle_and_even_from_row_to_row() -> None:
    rows = ground_rows(401) * 255.0
    middle = np.array(BACKGROUND) * 0.5 * (np.array(ABOVE) + np.array(BELOW))
    np.testing.assert_allclose(rows[200], middle, atol=0.5)
    assert np.abs(np.diff(rows, axis=0)).max() < 0.25, "no step of one 255th between two rows that could be seen"
    np.testing.assert_allclose(rows[0], np.array(BACKGROUND) * ABOVE, atol=0.7)
