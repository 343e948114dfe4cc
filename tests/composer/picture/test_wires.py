"""Lines of loops cover the pixels along them, and no others, in a picture by a camera."""

from __future__ import annotations

import numpy as np
from PIL import Image

from composer.picture.rays import Rays
from composer.picture.views import camera_of
from composer.picture.wires import draw_wires

SIZE = (120, 100)


def test_a_line_darkens_what_lies_within_half_its_width_and_nothing_beyond() -> None:
    """By the distance of each pixel's middle from the line between the ends' places in the picture; lines are some two
    thirds of a pixel wide. What lies behind the surface is not drawn."""
    rng = np.random.default_rng(3)
    ends = rng.uniform(-40.0, 40.0, (16, 3)) * [1.0, 1.0, 0.0]
    wall = np.array([[-200.0, -200.0, -50.0], [200.0, -200.0, -50.0], [0.0, 300.0, -50.0]])
    camera = camera_of("front", ends, SIZE, 0.8)
    edges = np.arange(16).reshape(-1, 2)
    rays = Rays(wall, np.array([[0, 1, 2]]))
    blank = Image.new("RGB", SIZE, (200, 200, 200))
    dark = np.asarray(draw_wires(blank, ends, edges, rays, camera))[:, :, 0] < 200
    places, _ = camera.project(ends)
    rows, columns = np.mgrid[: SIZE[1], : SIZE[0]]
    pixels = np.stack([columns, rows], axis=2).reshape(-1, 1, 2) + 0.5
    begin, way = places[::2], places[1::2] - places[::2]
    along = np.clip(((pixels - begin) * way).sum(axis=2) / (way**2).sum(axis=1), 0.0, 1.0)
    away = np.linalg.norm(pixels - begin - along[:, :, None] * way, axis=2).min(axis=1).reshape(dark.shape)
    assert dark[away < 0.3].all() and not dark[away > 1.5].any()
    behind = ends - [0.0, 0.0, 100.0]
    assert np.array_equal(draw_wires(blank, behind, edges, rays, camera), blank)
