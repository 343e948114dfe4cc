"""Spots: round on a plane, stopped by a rim, carried on behind it."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from masks.soften import smoothstep
from masks.spot import SpotGround, spot
from tests.small_heads import grid

SIDE = 21


def sheet() -> tuple[Surface, np.ndarray]:
    """A plane of 20 x 20 squares of 2 mm, and its places."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    places = 2.0 * np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    return Surface(grid(SIDE, SIDE), places), places


def test_on_a_plane_a_spot_is_the_smoothstep_of_the_straight_distance() -> None:
    surface, places = sheet()
    ground = SpotGround(surface, np.ones(SIDE**2, bool), {})
    at = 10 * SIDE + 10
    found = spot(ground, [at], [1.0], 12.0)
    expected = smoothstep(1.0 - np.linalg.norm(places - places[at], axis=1) / 12.0)
    np.testing.assert_allclose(found, expected, atol=0.02)
    assert found[at] == 1.0


def test_a_place_between_vertices_is_the_middle_of_its_spot() -> None:
    surface, places = sheet()
    ground = SpotGround(surface, np.ones(SIDE**2, bool), {})
    corners = [10 * SIDE + 10, 10 * SIDE + 11, 11 * SIDE + 11, 11 * SIDE + 10]
    found = spot(ground, corners, [0.25] * 4, 12.0)
    np.testing.assert_allclose(found[corners], smoothstep(1.0 - np.sqrt(2.0) / 12.0), atol=1e-3)


def test_no_front_crosses_a_rim_and_the_mask_fades_behind_it() -> None:
    """A ring of vertices about a square hole: from one side the way to the other leads round, and inside the mask falls
    from what it is at the nearest rim vertex."""
    surface, places = sheet()
    low, high = 7, 13
    ring = [low * SIDE + c for c in range(low, high)] + [r * SIDE + high for r in range(low, high)]
    ring += [high * SIDE + c for c in range(high, low, -1)] + [r * SIDE + low for r in range(high, low, -1)]
    ground = SpotGround(surface, np.ones(SIDE**2, bool), {"mouth_inner": np.array(ring)})
    from_left = 10 * SIDE + 4
    away = ground.distance([from_left], [1.0], 60.0)
    behind, beyond = 10 * SIDE + 10, 10 * SIDE + 16
    assert np.isinf(away[behind])
    # Round two corners of the rim: 6 x 6 squares to the corner, along 12 mm, and the same again, by hand.
    round_about = 2 * np.hypot(6.0, 6.0) + 12.0
    assert away[beyond] == pytest.approx(round_about, rel=0.08) and round_about > 24.0
    mask = ground.mask(away, 30.0)
    rim_value = mask[10 * SIDE + 7]
    assert 0.0 < mask[behind] < rim_value and mask[10 * SIDE + 8] > mask[behind]


def test_the_lines_of_the_lips_serve_where_the_mouth_has_no_rim() -> None:
    surface, _ = sheet()
    upper = np.array([9 * SIDE + c for c in range(7, 14)])
    lower = np.concatenate([[9 * SIDE + 7], [11 * SIDE + c for c in range(7, 14)], [9 * SIDE + 13]])
    ground = SpotGround(surface, np.ones(SIDE**2, bool), {"lip_line_upper": upper, "lip_line_lower": lower})
    assert ground.hollows.inside.any()
    away = ground.distance([7 * SIDE + 10], [1.0], 60.0)
    assert away[13 * SIDE + 10] > 1.3 * 12.0  # 12 mm straight through


def test_parts_are_not_in_a_spot_and_bad_numbers_are_refused() -> None:
    surface, _ = sheet()
    skin = np.ones(SIDE**2, bool)
    skin[:SIDE] = False
    ground = SpotGround(surface, skin, {})
    assert not spot(ground, [2 * SIDE], [1.0], 20.0)[:SIDE].any()
    with pytest.raises(MoueError, match="radius"):
        spot(ground, [2 * SIDE], [1.0], 0.0)
    with pytest.raises(MoueError, match="flags of skin"):
        SpotGround(surface, np.ones(3, bool), {})


def test_behind_a_rim_a_spot_lies_where_it_is() -> None:
    surface, _ = sheet()
    mesh = Polygons.from_faces([surface.polygons.face(f).tolist() for f in range(surface.polygons.n_faces)], SIDE**2)
    ground = SpotGround(Surface(mesh, surface.positions), np.ones(SIDE**2, bool), {})
    ground.hollows.inside[:] = True
    ground.marching.blocked[:] = True
    at = 10 * SIDE + 10
    found = spot(ground, [at], [1.0], 12.0)
    assert found[at] == 1.0 and 0.0 < found[at + 2] < 1.0
