"""Laws of the smallest field in modes: against an independent solver, and no face below the area it is to keep."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

from composer.contact.across import Across
from composer.contact.least import AT_ONCE, Faces, least_field_of
from composer.contact.lines import Meeting
from composer.contact.modes import modes
from composer.contact.patch import Patch
from composer.contact.solve import LineRows
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface

seeds = st.integers(0, 2**32 - 1)
SIDE = 14


def sheet() -> tuple[Surface, Patch]:
    """A flat sheet of quads 1 mm wide, with a line along its middle."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE), indexing="ij")
    number = np.arange(SIDE * SIDE).reshape(SIDE, SIDE)
    faces = np.stack([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]], axis=-1).reshape(-1, 4)
    places = np.column_stack([x.ravel(), y.ravel(), np.zeros(SIDE * SIDE)]).astype(float)
    skin = Surface(Polygons.from_faces(faces.tolist(), SIDE * SIDE), places)
    return skin, Patch(skin, Meeting("a line", number[:, 6], number[:, 7], about=0.5))


@given(seed=seeds)
@settings(max_examples=15)
def test_amounts_are_those_of_an_independent_solver(seed: int) -> None:
    """The dual, min |A'x|^2 / 2 + x'Fx / 2 - b'x over x >= 0, as bounded least squares (scipy's lsq_linear)."""
    rng = np.random.default_rng(seed)
    shape = rng.normal(size=(12, 5))
    n = rng.normal(size=(6, 3))
    n /= np.linalg.norm(n, axis=1)[:, None]
    place = Across(np.arange(6), rng.integers(6, 12, (6, 2)), rng.dirichlet(np.ones(2), 6))
    rows = LineRows(np.arange(6), place, n, rng.normal(size=6), rng.uniform(0.2, 1.0, 6))
    taken = shape[:6] - np.einsum("pk,pkq->pq", place.share, shape[place.corners])
    rowed = (taken[:, :, None] * n[:, None, :]).reshape(6, -1)
    stacked = np.concatenate([rowed.T, np.diag(np.sqrt(0.03 / rows.counts))])
    wanted = np.linalg.lstsq(stacked.T, rows.lack, rcond=None)[0]
    pull = lsq_linear(stacked, wanted, (0.0, np.inf), tol=1e-14).x
    field = shape @ (rowed.T @ pull).reshape(5, 3)
    found, pull = least_field_of(shape, rows, None, 0.03)
    np.testing.assert_allclose(found, field, atol=1e-3)
    again, _ = least_field_of(shape, rows, None, 0.03, begin=pull[::-1].copy())
    np.testing.assert_allclose(again, found, atol=1e-3)


def test_modes_are_the_whole_response_where_every_vertex_is_pushed() -> None:
    """Modes times modes' is then the kernel W K^-1 M K^-1 W itself, up to its scale."""
    skin, patch = sheet()
    every = np.arange(len(patch.vertices))
    answer = patch.response(skin, every).field
    fine = Patch(skin, patch.meeting)
    fine.__dict__.update(patch.__dict__)
    found = modes(fine, skin.positions[patch.vertices], every)
    middle = int(np.argmax(patch.window))
    scale = answer[middle, middle] / (found[middle] @ found[middle])
    inner = patch.window > 0.5
    np.testing.assert_allclose(scale * (found @ found[middle])[inner], answer[inner, middle], atol=0.06 * answer.max())


def test_faces_keep_the_share_of_their_area_that_they_are_to() -> None:
    """Two vertices side by side, pushed over each other by more than the edge between them: free, faces turn."""
    skin, patch = sheet()
    places = skin.positions[patch.vertices]
    number = {int(v): i for i, v in enumerate(patch.vertices)}
    left, right = number[6 * SIDE + 6], number[7 * SIDE + 6]
    shape = modes(patch, places, np.arange(len(places)))
    normals = np.tile([0.0, 0.0, 1.0], (len(places), 1))
    way = np.array([[1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
    rows = LineRows(np.array([left, right]), None, way, np.array([0.8, 0.8]), np.ones(2))
    triangles = patch.polygons.triangles

    def areas(field: np.ndarray) -> np.ndarray:
        corners = (places + field)[triangles]
        return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]

    free = areas(least_field_of(shape, rows, None, 0.03)[0]) / areas(np.zeros_like(places))
    assert free.min() < 0.0
    field = least_field_of(shape, rows, Faces(places, triangles, normals, 0.25), 0.03)[0]
    kept = areas(field) / areas(np.zeros_like(places))
    assert kept.min() > 0.0
    assert field[left, 0] > 0.2


@given(seed=seeds)
@settings(max_examples=3)
def test_many_rows_that_come_in_a_few_at_a_time_give_what_all_at_once_give(seed: int) -> None:
    """The same bounded least squares as above, with three times as many rows as are added at once."""
    rng = np.random.default_rng(seed)
    shape = rng.normal(size=(200, 6))
    n = rng.normal(size=(200, 3))
    n /= np.linalg.norm(n, axis=1)[:, None]
    rows = LineRows(np.arange(200), None, n, rng.uniform(-0.5, 1.0, 200), np.ones(200))
    assert (rows.lack > 0.0).sum() > 1.5 * AT_ONCE
    rowed = (shape[:, :, None] * n[:, None, :]).reshape(200, -1)
    stacked = np.concatenate([rowed.T, np.sqrt(0.5) * np.eye(200)])
    wanted = np.linalg.lstsq(stacked.T, rows.lack, rcond=None)[0]
    pull = lsq_linear(stacked, wanted, (0.0, np.inf), tol=1e-14).x
    found, _ = least_field_of(shape, rows, None, 0.5)
    np.testing.assert_allclose(found, shape @ (rowed.T @ pull).reshape(6, 3), atol=2e-3)


def test_a_sliver_is_let_go_and_counts_the_more_the_higher_it_is() -> None:
    """Triangles of 1 mm by their height over the longest edge: none at a hundredth, wholly at two."""
    heights = np.array([0.004, 0.01, 0.013, 0.016, 0.02, 0.5])
    places = np.array([[(0.0, i, 0.0), (1.0, i, 0.0), (0.5, i + h, 0.0)] for i, h in enumerate(heights)]).reshape(-1, 3)
    normals = np.tile([0.0, 0.0, 1.0], (len(places), 1))
    counts = Faces(places, np.arange(len(places)).reshape(-1, 3), normals, 0.25).counts
    assert counts[:2].max() < 1e-9
    assert counts[-2:].min() > 1.0 - 1e-9
    assert 0.0 < counts[2] < counts[3] < 1.0
