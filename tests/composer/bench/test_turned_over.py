"""Faces turned over, against closed forms: a sheet rolled up, and a corner that is drawn over its opposite edge."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from composer.bench.turned_over import Orientations

SIDE = 12


def sheet() -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.arange(SIDE, dtype=float), np.arange(SIDE, dtype=float), indexing="ij")
    at = np.arange(SIDE * SIDE).reshape(SIDE, SIDE)
    a, b, c, d = (each.ravel() for each in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return np.column_stack([x.ravel(), y.ravel(), np.zeros(SIDE * SIDE)]), triangles


def test_a_sheet_that_is_rolled_up_and_turned_keeps_every_face() -> None:
    """A cylinder has no stretch, so every face is turned by a rotation alone, the last ones by over 180 degrees."""
    flat, triangles = sheet()
    radius = 3.0
    angle = flat[:, 0] / radius
    rolled = np.column_stack([radius * np.sin(angle), flat[:, 1], radius * (1.0 - np.cos(angle))])
    rolled = rolled @ Rotation.from_rotvec([0.4, 1.0, -2.0]).as_matrix().T + 5.0
    faces = np.arange(len(triangles))
    assert angle.max() > np.pi
    assert Orientations(triangles, len(flat)).kept(flat, rolled, faces).min() > 0.95


def test_a_corner_drawn_over_its_opposite_edges_turns_over_the_faces_that_shrink_through_nothing() -> None:
    """In a plane the sign is that of the triangle's own area, by the shoelace formula; also on a turned sheet."""
    flat, triangles = sheet()
    moved = flat.copy()
    moved[5 * SIDE + 5, :2] += (1.4, 0.2)
    a, b, c = (moved[triangles[:, i], :2] for i in range(3))
    over = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0.0
    assert 0 < over.sum() < 6
    turn = Rotation.from_rotvec([2.0, 1.0, 0.3]).as_matrix().T
    kept = Orientations(triangles, len(flat)).kept(flat, moved @ turn, np.arange(len(triangles)))
    np.testing.assert_array_equal(kept < 0.0, over)
