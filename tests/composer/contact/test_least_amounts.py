"""Laws of the smallest field in modes: against an independent solver, and how fast it may change."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear

from composer.contact.across import Across
from composer.contact.least import AT_ONCE, least_field_of
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
    found, pull = least_field_of(shape, rows, 0.03)
    np.testing.assert_allclose(found, field, atol=1e-3)
    again, _ = least_field_of(shape, rows, 0.03, begin=pull[::-1].copy())
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
    found, _ = least_field_of(shape, rows, 0.5)
    np.testing.assert_allclose(found, shape @ (rowed.T @ pull).reshape(6, 3), atol=2e-3)


@given(seed=seeds)
@settings(max_examples=25)
def test_no_field_changes_faster_than_its_rows_allow(seed: int) -> None:
    """A row that gives way by e lets the amounts change by at most 1 / (2 sqrt(e)) of what all rows lack (the largest
    of s / (s^2 + e), by which Tikhonov's regularised inverse takes a singular value s; Hansen, Rank-deficient and
    discrete ill-posed problems, 1998, section 4.2), whichever rows come in or reach their bound in between."""
    rng = np.random.default_rng(seed)
    firm, count = 0.1, 20
    shape = np.eye(7)  # the field is its own amounts
    n = rng.normal(size=(count, 3))
    n /= np.linalg.norm(n, axis=1)[:, None]
    lack, change = rng.normal(size=count), rng.normal(size=count) * 10.0 ** rng.uniform(-3.0, 0.0)
    place = Across(rng.integers(0, 7, count), rng.integers(0, 7, (count, 2)), rng.dirichlet(np.ones(2), count))
    bound = rng.uniform(0.1, 2.0, count)
    one, other = (
        least_field_of(shape, LineRows(place.vertices, place, n, each, np.ones(count), bound), firm)[0]
        for each in (lack, lack + change)
    )
    left_alone = np.sqrt(count) * 1e-4  # what rows may lack without being asked
    most = (np.linalg.norm(change) + 2.0 * left_alone) / (2.0 * np.sqrt(firm))
    assert np.linalg.norm(one - other) <= most


def test_rows_that_want_opposite_things_pull_no_harder_than_their_bound() -> None:
    """Four rows push a vertex to and fro, and one of them turns: it goes no further than the bound times the turn."""
    shape, bound = np.ones((1, 1)), 1.5
    moved = []
    for turn in (0.0, 0.2):
        way = np.array([[np.cos(turn), np.sin(turn), 0.0], [-1.0, 0.0, 0.0], [1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]])
        rows = LineRows(np.zeros(4, dtype=np.int64), None, way, np.full(4, 2.0), np.ones(4), np.full(4, bound))
        field, pull = least_field_of(shape, rows, 0.03)
        assert pull.max() <= bound
        moved.append(field[0])
    assert 0.0 < np.linalg.norm(moved[1] - moved[0]) <= bound * 0.2
