"""Crumbs of a parting go to the neighbour with the longest border; what is large stays as it was."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components

from masks.crumbs import crumbs_by_border
from masks.moving_places import MovingPlaces
from tests.masks.surfaces import plane

FLAT = plane(24, 24, 2.0)
EVERY = MovingPlaces.of(FLAT, np.ones((1, FLAT.n_vertices)), None)


def pieces(labels: np.ndarray) -> list[float]:
    """The areas of the connected pieces of one label, mm^2."""
    graph = EVERY.graph.tocoo()
    same = labels[graph.row] == labels[graph.col]
    inside = graph.tocsr().copy()
    inside.data = np.where(same, 1.0, 0.0)[np.lexsort((graph.col, graph.row))]
    inside.eliminate_zeros()
    _, piece = connected_components(inside, directed=False)
    return np.bincount(piece, FLAT.mass).tolist()


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), least=st.floats(1.0, 400.0))
def test_no_crumb_is_left_and_a_second_time_changes_nothing(seed: int, least: float) -> None:
    rng = np.random.default_rng(seed)
    seeds = rng.uniform(0, 46, (rng.integers(2, 9), 2))
    labels = np.argmin(np.linalg.norm(FLAT.positions[:, None, :2] - seeds, axis=2), axis=1)
    crumbs = rng.random(FLAT.n_vertices) < 0.03
    labels[crumbs] = rng.integers(0, len(seeds), int(crumbs.sum()))
    swept = crumbs_by_border(EVERY, labels, least)
    areas = pieces(swept)
    assert min(areas) >= least or len(areas) == 1
    assert np.array_equal(crumbs_by_border(EVERY, swept, least), swept)
    assert set(swept.tolist()) <= set(labels.tolist())


def test_the_longest_border_decides() -> None:
    x, y = FLAT.positions[:, 0], FLAT.positions[:, 1]
    labels = np.where(x < 24, 0, 1)
    labels[(np.abs(x - 26) < 5) & (np.abs(y - 24) < 4)] = 2  # reaches 2 mm into label 0, 6 mm into label 1
    swept = crumbs_by_border(EVERY, labels, 200.0)
    assert set(swept[labels == 2].tolist()) == {1}
    assert np.array_equal(swept[labels != 2], labels[labels != 2])
