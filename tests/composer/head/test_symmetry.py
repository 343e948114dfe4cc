"""Mirror maps: by connectivity on heads that are bent, lopsided or off centre; where the sides are unlike, the rest."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.levels import levels, refine
from composer.head.symmetry import MirrorMap, mirror_at_level, mirror_map
from tests.composer.demo.library_fixtures import face
from tests.real_library import other_people, real_neutral
from tests.small_heads import CUBE, CUBE_CORNERS, grid

SEEDS = st.integers(0, 2**32 - 1)
FLIP = np.array([-1.0, 1.0, 1.0])


def faces_of(mesh: Polygons) -> list[list[int]]:
    return [mesh.face(i).tolist() for i in range(mesh.n_faces)]


@lru_cache(maxsize=1)
def mask_and_cubes() -> tuple[Polygons, NDArray, NDArray]:
    """A strip of 6 x 7 vertices across the midline and a cube on either side; its positions, and the true partners."""
    x, y = np.meshgrid(np.arange(7) - 3.0, np.arange(6.0))
    skin = np.stack([x, y, np.cos(x)], axis=-1).reshape(-1, 3)
    left = 0.4 * CUBE_CORNERS + [1.5, 3, 2]
    points = np.vstack([skin, left, left * FLIP])
    cube = faces_of(CUBE)
    listed = [*faces_of(grid(6, 7)), *[[v + 42 for v in f] for f in cube], *[[v + 50 for v in f[::-1]] for f in cube]]
    strip = (6 - np.arange(7) + 7 * np.arange(6)[:, None]).ravel()
    return Polygons.from_faces(listed, 58), points, np.concatenate([strip, np.arange(50, 58), np.arange(42, 50)])


def renumbered(mesh: Polygons, points: NDArray, partner: NDArray, seed: int) -> tuple[Polygons, NDArray, NDArray]:
    """The same head with its vertices in a random order, so that no order of numbers can help."""
    order = np.random.default_rng(seed).permutation(len(points))
    place = np.argsort(order)
    other = Polygons(mesh.counts, place[mesh.indices], len(points))
    return other, points[order], place[partner[order]]


@settings(deadline=None, max_examples=25)
@given(seed=SEEDS)
def test_planted_partners_are_found_on_an_uneven_head(seed: int) -> None:
    """Noise of a tenth of an edge, and the head stands two edges beside x = 0."""
    mesh, points, partner = renumbered(*mask_and_cubes(), seed)
    noise = np.random.default_rng(seed).uniform(-0.1, 0.1, size=points.shape)
    found = mirror_map(mesh, points + noise + [2.0, 0.0, 0.0])
    assert found.whole and not len(found.without)
    np.testing.assert_array_equal(found.partner, partner)


@pytest.mark.parametrize("far", [1e-6, 1.0, 1e6])
def test_the_unit_of_the_positions_does_not_matter(far: float) -> None:
    mesh, points, partner = mask_and_cubes()
    np.testing.assert_array_equal(mirror_map(mesh, points * far).partner, partner)


def test_vertices_that_share_a_place_are_told_apart_by_their_polygons() -> None:
    """Lips closed at rest: an upper and a lower strip whose rims lie in one place, on both sides and on the midline."""
    x, y = np.meshgrid(np.arange(5) - 2.0, np.arange(3.0))
    upper = np.stack([x, y, 0.1 * y], axis=-1).reshape(-1, 3)
    lower = np.stack([x, -y, 0.1 * y], axis=-1).reshape(-1, 3)
    strip = faces_of(grid(3, 5))
    mesh = Polygons.from_faces([*strip, *[[v + 15 for v in f[::-1]] for f in strip]], 30)
    row = 4 - np.arange(5) + 5 * np.arange(3)[:, None]
    expected = np.concatenate([row.ravel(), row.ravel() + 15])
    np.testing.assert_array_equal(mirror_map(mesh, np.vstack([upper, lower])).partner, expected)


def test_a_square_cut_in_two_on_one_side_costs_nothing_but_is_told() -> None:
    mesh, points, partner = mask_and_cubes()
    listed = faces_of(mesh)
    listed[0:1] = [[0, 1, 8], [0, 8, 7]]
    bent = points + np.sin(0.5 * points[:, [1]]) * [0.8, 0.0, 0.0]
    found = mirror_map(Polygons.from_faces(listed, 58), bent)
    np.testing.assert_array_equal(found.partner, partner)
    assert not found.whole and not len(found.without)
    assert "corners where the other has" in found.parted


def test_a_vertex_without_a_partner_takes_the_closest_place_of_the_other_side() -> None:
    """A vertex in the middle of one square on the left: on the right it lies in the middle of four corners."""
    mesh, points, partner = mask_and_cubes()
    listed = faces_of(mesh)
    square = listed.pop(5)  # the outermost of the first row on the left
    listed += [[square[i], square[(i + 1) % 4], 58] for i in range(4)]
    points = np.vstack([points, points[square].mean(axis=0)])
    found = mirror_map(Polygons.from_faces(listed, 59), points)
    np.testing.assert_array_equal(found.partner, [*partner, 58])
    assert found.without.tolist() == [58]
    np.testing.assert_allclose(found.bary.sum(axis=1), 1.0)
    np.testing.assert_allclose(found.values(points)[58], points[58] * FLIP, atol=0.02)  # the strip is slightly curved
    assert set(found.corners[0]) <= set(partner[square])
    note = found.note(points)
    assert note is not None and note.startswith("1 vertex has no mirror partner; the first is vertex 58 at x 2.5, ")


def test_a_piece_that_stands_on_one_side_alone_is_left_without() -> None:
    mesh, points, partner = mask_and_cubes()
    listed = faces_of(mesh)[:-6]  # the right cube loses its polygons and its vertices
    found = mirror_map(Polygons.from_faces(listed, 50), points[:50])
    np.testing.assert_array_equal(found.without, np.arange(42, 50))
    np.testing.assert_array_equal(found.partner[:42], partner[:42])
    area = np.ones(50)
    assert found.share_without(area) == pytest.approx(8 / 50)


@settings(deadline=None, max_examples=20)
@given(seed=SEEDS)
def test_mirroring_twice_is_nothing_where_all_have_partners(seed: int) -> None:
    rng = np.random.default_rng(seed)
    found = mirror_map(*mask_and_cubes()[:2])
    values, vectors = rng.normal(size=58), rng.normal(size=(58, 3)).astype(np.float32)
    np.testing.assert_array_equal(found.values(found.values(values)), values)
    np.testing.assert_array_equal(found.vectors(found.vectors(vectors)), vectors)
    assert found.vectors(vectors).dtype == np.float32


def test_a_map_at_a_finer_level_is_that_of_the_finer_head() -> None:
    mesh, points, _ = mask_and_cubes()
    steps = levels(mesh, 2)
    fine = refine(points, steps)
    one = mirror_at_level(mirror_map(mesh, points), steps, points)
    np.testing.assert_allclose(one.values(fine), fine * FLIP, atol=1e-12)
    listed = faces_of(mesh)
    listed[0:1] = [[0, 1, 8], [0, 8, 7]]  # now no permutation keeps the polygons
    cut = Polygons.from_faces(listed, 58)
    steps = levels(cut, 2)
    other = mirror_at_level(mirror_map(cut, points), steps, points)
    fine = refine(points, steps)
    assert not other.whole
    np.testing.assert_allclose(other.values(fine), fine * FLIP, atol=0.25)  # a fifth of an edge, about the cut alone


def test_what_cannot_be_a_map_is_refused() -> None:
    with pytest.raises(MoueError, match="gives two vertices one partner"):
        MirrorMap.of_partners(np.array([0, 0, 1]))
    with pytest.raises(MoueError, match="no position at vertex 3"):
        mirror_map(CUBE, np.where(np.arange(8)[:, None] == 3, np.nan, CUBE_CORNERS))
    assert mirror_map(Polygons.from_faces([], 0), np.zeros((0, 3))).n_vertices == 0


def bent(points: NDArray, far_mm: float) -> NDArray:
    """Points moved sideways by so many mm in one wave from top to bottom, and one side of them up."""
    height = (points[:, 1] - points[:, 1].min()) / np.ptp(points[:, 1])
    out = points.copy()
    out[:, 0] += far_mm * np.sin(2 * np.pi * height)
    out[:, 1] += 0.5 * far_mm * points[:, 0] / np.ptp(points[:, 0])
    return out


def demo() -> tuple[Polygons, NDArray]:
    head = face("keeper").head
    return head.polygons, head.neutral


@pytest.mark.parametrize("head", [demo, real_neutral])
def test_a_head_of_many_pieces_mirrors_exactly_however_it_is_bent(head) -> None:  # type: ignore[no-untyped-def]
    """Bending changes no connectivity, so the partners are those of the even head."""
    mesh, points = head()
    even = mirror_map(mesh, points)
    assert even.whole
    others = {
        "bent by 5 mm": bent(points, 5.0),
        "one side 6 percent larger": points * np.where(points[:, :1] > 0, 1.06, 1.0),
        "7 mm off the midline": points + [7.0, 0.0, 0.0],
    }
    for name, other in others.items():
        found = mirror_map(mesh, other)
        assert found.whole, name
        np.testing.assert_array_equal(found.partner, even.partner, err_msg=name)


def test_the_partners_of_the_demo_are_those_that_its_maker_knows() -> None:
    whole = face("keeper")
    found = mirror_map(whole.head.polygons, whole.head.neutral)
    np.testing.assert_array_equal(found.partner, whole.neutral.mirror)


def test_posed_and_proportioned_heads_mirror_as_the_demo_does() -> None:
    """A smile on one side and a jaw pushed aside, taken for neutrals: no row is off."""
    head = face("keeper").head
    for name in ("au12_left", "jaw_left"):
        found = mirror_map(head.polygons, head.neutral + head.shape(name).delta)
        assert found.whole
        np.testing.assert_array_equal(found.partner, face("keeper").neutral.mirror, err_msg=name)


def test_other_people_on_a_real_topology_mirror_exactly() -> None:
    """No face is even: by place alone none of the twelve could be mirrored."""
    mesh, points = real_neutral()
    even = mirror_map(mesh, points).partner
    for number, person in enumerate(other_people()[:2]):
        found = mirror_map(mesh, person)
        assert found.whole
        np.testing.assert_array_equal(found.partner, even, err_msg=f"person {number}")
