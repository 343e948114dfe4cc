"""Masks from loops, groups, vertices and pictures."""

from __future__ import annotations

import numpy as np
import pytest

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from masks.from_groups import from_component, from_faces, from_vertices
from masks.from_image import from_image, sample
from masks.from_loops import enclosed, from_loop
from masks.soften import ramp
from tests.masks.surfaces import plane


def square_loop(columns: int, low: int, high: int) -> list[int]:
    """The border of the square [low, high] x [low, high] of a plane of quads."""
    side = range(low, high)
    return (
        [low * columns + j for j in side]
        + [i * columns + high for i in side]
        + [high * columns + j for j in range(high, low, -1)]
        + [i * columns + low for i in range(high, low, -1)]
    )


def test_a_loop_encloses_its_inside() -> None:
    flat = plane(21, 21)
    loop = square_loop(21, 5, 12)
    x, y = flat.positions[:, 0], flat.positions[:, 1]
    inner = (x > 5) & (x < 12) & (y > 5) & (y < 12)
    assert enclosed(flat, loop).tolist() == inner.tolist()
    outer = enclosed(flat, loop, inside=0)
    assert outer.sum() == flat.n_vertices - inner.sum() - len(loop)
    soft = from_loop(flat, loop, ramp_mm=4.0)
    middle = (y > 7.9) & (y < 9.1)
    assert soft[middle & (x < 8)] == pytest.approx(ramp(x[middle & (x < 8)] - 5, 4.0), abs=1e-3)
    with pytest.raises(MoueError, match="both of its sides are one"):
        enclosed(flat, [5 * 21 + 5, 5 * 21 + 6, 5 * 21 + 7])


def test_groups_and_vertices() -> None:
    flat = plane(11, 11)
    half = np.flatnonzero(flat.positions[flat.polygons.indices.reshape(-1, 4)].mean(axis=1)[:, 0] < 5)
    assert from_faces(flat, half).tolist() == (flat.positions[:, 0] <= 5).astype(float).tolist()
    assert from_faces(flat, half, 4.0) == pytest.approx(ramp(5 - flat.positions[:, 0], 4.0), abs=1e-9)
    assert from_vertices(flat, [3]).sum() == 1.0
    assert from_component(flat, 0).sum() == 121
    with pytest.raises(MoueError, match="polygon 100"):
        from_faces(flat, [100])
    with pytest.raises(MoueError, match="not 1"):
        from_component(flat, 1)


def test_a_picture_is_read_between_its_texels() -> None:
    """Texel centres at (i + 1/2) / w, first row on top (as in OpenGL 4.6, section 8.14, with the row order of PNG)."""
    picture = np.array([[0.0, 1.0], [0.5, 0.25]])
    uv = np.array([[0.25, 0.75], [0.75, 0.75], [0.25, 0.25], [0.75, 0.25], [0.5, 0.5], [0.0, 1.0], [1.25, 0.75]])
    assert sample(picture, uv) == pytest.approx([0.0, 1.0, 0.5, 0.25, 0.4375, 0.0, 0.0])
    triangle = Polygons.from_faces([[0, 1, 2]], 4)
    values, known = from_image(triangle, np.array([[0, 255]], dtype=np.uint8), uv[:3], [1, 1, -1])
    assert values.tolist() == [1.0, 1.0, 0.0, 0.0]
    assert known.tolist() == [True, True, False, False]
    with pytest.raises(MoueError, match="one index a polygon corner"):
        from_image(triangle, picture, uv, [0, 1])
