"""Heights over the other side: where skin is crumpled, its normals say nothing."""

from __future__ import annotations

import numpy as np

from composer.contact.facing import FacingSide

WIDE = 9


def sides() -> tuple[FacingSide, np.ndarray, np.ndarray]:
    """Two flat sheets of 1 mm, one 0.3 mm above the other and looking down at it."""
    x, y = np.meshgrid(np.arange(WIDE, dtype=float), np.arange(WIDE, dtype=float), indexing="ij")
    flat = np.column_stack([x.ravel(), y.ravel(), np.zeros(WIDE * WIDE)])
    places = np.concatenate([flat, flat + (0.2, 0.4, 0.3)])
    normals = np.repeat([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]], WIDE * WIDE, axis=0)
    below, above = np.split(np.arange(2 * WIDE * WIDE), 2)
    return FacingSide(places, normals, above, below, 40.0, 1.0), places, normals


def test_a_flat_sheet_stands_at_its_height_over_the_other() -> None:
    side, places, normals = sides()
    found = side.heights(places, normals, np.ones(len(places)))
    middle = WIDE * WIDE // 2
    assert abs(found.gap[middle] - 0.3) < 1e-12
    assert found.counts[middle] == 1.0


def test_a_vertex_whose_triangles_look_every_way_has_no_row_and_makes_up_no_place() -> None:
    """Its normal can turn right round in one step of a weight: turned round, it changes nothing for anyone."""
    side, places, normals = sides()
    even, middle = np.ones(len(places)), WIDE * WIDE // 2
    even[middle] = even[WIDE * WIDE + middle] = 0.0
    other = normals.copy()
    other[[middle, WIDE * WIDE + middle]] *= -1.0
    one, two = side.heights(places, normals, even), side.heights(places, other, even)
    assert one.counts[middle] == two.counts[middle] == 0.0
    rest = np.delete(np.arange(WIDE * WIDE), middle)
    np.testing.assert_allclose(two.gap[rest], one.gap[rest], atol=1e-12)
    np.testing.assert_allclose(two.counts[rest], one.counts[rest], atol=1e-12)
    assert not one.across.share[one.across.corners == middle].any()
