"""A large head's coarser level: what comes down and goes up, in any numbering, and what is laid there."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.document.masks_of import moving_regions
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head import clusters
from composer.head import coarse as coarse_level
from composer.head.coarse import Coarse, clustered, coarsened
from composer.head.coarse_head import coarse_head, seen_coarse
from composer.head.head import Head, Part
from composer.head.levels import head_at_level, levels, refine
from composer.head.parts import with_recognised_parts
from composer.head.places import Landmarks, SurfacePoint
from composer.head.presets import lay_regions, region_set
from composer.head.soft_borders import ramp_width_mm, soft_border
from tests.demo_heads import neutral_head
from tests.small_heads import grid, torus
from tests.window.dome import dome

SEEDS = st.integers(0, 2**32 - 1)


def _level(polygons: Polygons, points: np.ndarray, steps: int, enough: int = 4) -> Coarse:
    found = coarsened(Surface(polygons, points), enough)
    assert found is not None and len(found.steps) == steps
    return found


@settings(deadline=None, max_examples=15)
@given(seed=SEEDS, closed=st.booleans())
def test_shares_that_sum_to_one_still_do_in_any_numbering(seed: int, closed: bool) -> None:
    """The rows of Catmull-Clark are weights that sum to one (Catmull and Clark 1978, "Recursively generated B-spline
    surfaces on arbitrary topological meshes")."""
    rng = np.random.default_rng(seed)
    mesh = torus(5, 7) if closed else grid(5, 6)
    steps = levels(mesh, 2)
    finer, made = refine(rng.normal(size=(mesh.n_vertices, 3)), steps), steps[-1].polygons
    order = rng.permutation(made.n_vertices)
    shuffled = np.empty_like(finer)
    shuffled[order] = finer
    coarse = _level(Polygons(made.counts, order[made.indices], made.n_vertices), shuffled, 2, mesh.n_vertices)
    assert np.array_equal(coarse.surface.positions, shuffled[coarse.vertices])
    shares = rng.dirichlet(np.ones(4), size=len(coarse.vertices)).T
    lifted = np.array(coarse.shares_up(list(shares)))
    assert lifted.min() >= 0.0 and lifted.max() <= 1.0
    np.testing.assert_allclose(lifted.sum(axis=0), 1.0, rtol=0, atol=1e-12)
    assert coarse.parents.max() < len(coarse.vertices)


@pytest.mark.parametrize("number", [3, 4, 6])
def test_every_step_of_a_closed_surface_is_undone(number: int) -> None:
    """A prism's faces and corners are told apart by no border: of its two cages only the one of quads can have come
    from a step itself (Catmull and Clark 1978: after one step every face has four sides)."""
    ring = np.arange(number)
    other = (ring + 1) % number
    sides = np.stack([ring, other, other + number, ring + number], axis=1).tolist()
    solid = Polygons.from_faces([*sides, ring[::-1].tolist(), (ring + number).tolist()], 2 * number)
    made = levels(solid, 4)
    points = np.random.default_rng(number).normal(size=(made[-1].polygons.n_vertices, 3))
    found = _level(made[-1].polygons, points, 3, made[0].polygons.n_vertices)
    assert found.surface.n_vertices == made[0].polygons.n_vertices


def test_what_is_even_comes_back_as_it_was() -> None:
    """Inside a flat even grid every rule of Catmull-Clark (1978) keeps affine functions, so a ramp comes back."""
    steps = levels(grid(9, 9), 2)
    rows, columns = np.divmod(np.arange(81), 9)
    places = refine(np.stack([columns, rows, 0 * rows], axis=1) * 4.0, steps)
    coarse = _level(steps[-1].polygons, places, 2, 81)
    ramp = places @ np.array([0.3, -0.2, 0.0])
    inside = (np.abs(places[:, :2] - 16.0) < 8.0).all(axis=1)
    assert inside.sum() > 200
    np.testing.assert_allclose(coarse.up(coarse.down(ramp))[inside], ramp[inside], atol=1e-9)


def test_a_mesh_that_was_never_subdivided_has_no_cage_to_find() -> None:
    flat = grid(4, 5)
    assert coarsened(Surface(flat, np.random.default_rng(1).normal(size=(20, 3))), 4) is None
    assert coarsened(Surface(_cut(flat), np.random.default_rng(1).normal(size=(20, 3))), 4) is None


def _cut(polygons: Polygons) -> Polygons:
    """The same in triangles."""
    return Polygons(np.full(len(polygons.triangles), 3), polygons.triangles.reshape(-1), polygons.n_vertices)


def test_clusters_keep_sheets_apart_that_touch(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two sheets a hundredth of an edge apart, and a small one that keeps its own vertices: shares sum to one, a ramp
    comes back to within an edge of the clusters, and what is 1 on one sheet is 0 on the others."""
    monkeypatch.setattr(clusters, "SMALL", 200)
    sheets = [(60, 60, 0.0), (60, 60, 0.01), (12, 12, 30.0)]
    points, faces, first = [], [], 0
    for rows, columns, height in sheets:
        y, x = np.divmod(np.arange(rows * columns), columns)
        points.append(np.stack([x, y, np.full(len(x), height)], axis=1).astype(float))
        faces.append(_cut(grid(rows, columns)).indices.reshape(-1, 3) + first)
        first += rows * columns
    surface = Surface(Polygons.from_faces(np.concatenate(faces).tolist(), first), np.concatenate(points))
    found = clustered(surface, 450)
    assert found is not None and found.clusters is not None
    small = np.arange(7200, first)
    assert np.isin(small, found.vertices).all() and 300 < len(found.vertices) - len(small) < 700
    assert np.array_equal(surface.positions[found.vertices], found.surface.positions)
    for sheet, of in enumerate((slice(0, 3600), slice(3600, 7200), slice(7200, first))):
        on = np.zeros(first)
        on[of] = 1.0
        np.testing.assert_allclose(found.up(found.down(on)), on, atol=1e-12, err_msg=f"sheet {sheet}")
    shares = np.random.default_rng(3).dirichlet(np.ones(3), size=len(found.vertices)).T
    np.testing.assert_allclose(np.sum(found.shares_up(list(shares)), axis=0), 1.0, atol=1e-12)
    ramp = surface.positions[:, 0]
    inside = (np.abs(surface.positions[:, :2] - 29.5) < 24).all(axis=1) & (surface.positions[:, 2] < 1.0)
    assert np.abs(found.up(found.down(ramp)) - ramp)[inside].max() < found.surface.mean_edge_mm
    assert np.abs(found.up(found.down(ramp)) - ramp)[inside].mean() < 0.2 * found.surface.mean_edge_mm


def test_regions_of_triangles_are_found_on_clusters(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on the coarser level of a subdivided head, but for which triangles a side happens to be cut into."""
    head = head_at_level(dome(31, 25), 2)
    head = head.with_(polygons=_cut(head.polygons))
    whole = moving_regions(head, 8)
    monkeypatch.setattr(coarse_level, "LARGE", head.n_vertices)
    monkeypatch.setattr(coarse_level, "ENOUGH", head.n_vertices // 5)
    found = moving_regions(head, 8, coarse=True)
    assert len(found.masks) == len(whole.masks)
    for shape in head.shapes:
        moves = np.linalg.norm(shape.delta, axis=1)
        one, other = (max(each.masks.values(), key=lambda mask: float(mask @ moves)) for each in (whole, found))
        assert (np.abs(one - other) * moves).max() < 0.15 * shape.furthest_mm, shape.name


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> Head:
    """The dome two levels finer, taken for a large head whose coarser level is one step coarser."""
    head = head_at_level(dome(31, 25), 2)
    monkeypatch.setattr(coarse_level, "LARGE", head.n_vertices)
    monkeypatch.setattr(coarse_level, "ENOUGH", head.n_vertices // 5)
    return head


def test_regions_found_on_the_coarser_level_are_those_of_the_fine_one(large: Head) -> None:
    """What a cell of any region and shape moves differs nowhere by more than a tenth of the shape's largest movement,
    and by a hundredth in the mean where the shape moves. (Where nothing moves, where a border lies is a guess at either
    level.)"""
    found = moving_regions(large, 8, coarse=True)
    whole = moving_regions(large, 8)
    assert found.masks.keys() == whole.masks.keys()
    moves = np.array([np.linalg.norm(shape.delta, axis=1) / shape.furthest_mm for shape in large.shapes])
    for name, mask in whole.masks.items():
        apart = np.abs(found.masks[name] - mask) * moves
        assert apart.max() < 0.1 and apart[moves > 0].mean() < 0.01, name
        edge = 2.0 * large.surface.mean_edge_mm
        assert np.linalg.norm(large.neutral[found.seeds[name]] - large.neutral[whole.seeds[name]]) < edge
    assert np.sum(list(found.masks.values()), axis=0).max() <= 1.0 + 1e-9
    assert abs(found.held - whole.held) < 1e-3


def test_landmarks_come_down_and_go_up_to_where_they_were(large: Head) -> None:
    found = coarse_head(large)
    assert found is not None and found.head.n_vertices < large.n_vertices / 3
    coarse = found.head
    line = np.asarray(coarse.polygons.face(40)[:3])
    inside = SurfacePoint(tuple(int(v) for v in coarse.polygons.face(9)[:3]), (0.2, 0.3, 0.5))
    up = found.landmarks_up(Landmarks({"corner": 5, "inside": inside, "free": (1.0, 2.0, 3.0)}, {"line": line}))
    marks = large.with_(landmarks=up)
    assert np.allclose(large.neutral[up.points["corner"]], coarse.neutral[5])
    edge = large.surface.mean_edge_mm
    assert np.linalg.norm(up.position("inside", large.neutral) - _resolved(inside, coarse)) < edge
    curve = up.curves["line"]
    assert len(curve) == 5 and large.polygons.adjacency[curve[:-1], curve[1:]].all()
    again = coarse_head(marks)
    assert again is not None and again.head.landmarks is not None
    assert again.head.landmarks.points["corner"] == 5 and list(again.head.landmarks.curves["line"]) == line.tolist()
    assert again.head.landmarks.points["free"] == (1.0, 2.0, 3.0)


def _resolved(place: SurfacePoint, head: Head) -> np.ndarray:
    return np.asarray(place.bary) @ head.neutral[list(place.triangle)]


def test_a_small_head_is_seen_as_it_is() -> None:
    head = dome()
    assert coarse_head(head) is None and seen_coarse(head) is head


def test_whole_pieces_become_the_same_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    head = head_at_level(neutral_head("keeper"), 1)
    monkeypatch.setattr(coarse_level, "LARGE", head.n_vertices)
    monkeypatch.setattr(coarse_level, "ENOUGH", 4000)
    found = with_recognised_parts(head.with_(parts=()))
    cage = with_recognised_parts(neutral_head("keeper").with_(parts=()))
    assert {part.name for part in found.parts} == {part.name for part in cage.parts}
    pieces = head.polygons.components
    for part in found.parts:
        held = np.unique(pieces[part.vertices])
        assert np.isin(pieces, held).sum() == len(part.vertices), part.name
    assert all(isinstance(part, Part) for part in found.parts)


def test_regions_by_landmarks_are_laid_on_the_coarser_level(monkeypatch: pytest.MonkeyPatch) -> None:
    """A border moves by less than an edge of the coarser level, so that the middle of a mask does, and the mask differs
    by .15 in the mean where either is above 0. (Edges are 6 mm long here, and 3 mm on a head that is really large.)"""
    head = head_at_level(neutral_head("keeper"), 1)
    whole = lay_regions(head, region_set("face"))
    monkeypatch.setattr(coarse_level, "LARGE", head.n_vertices)
    monkeypatch.setattr(coarse_level, "ENOUGH", 4000)
    laid = lay_regions(head, region_set("face"), coarse=True)
    assert laid.masks.keys() == whole.masks.keys()
    seen = seen_coarse(head)
    edges = seen.polygons.edges[seen.skin[seen.polygons.edges].all(axis=1)]  # those of hairs are far shorter
    edge = float(np.linalg.norm(np.diff(seen.neutral[edges], axis=1), axis=2).mean())
    for name, mask in whole.masks.items():
        found = laid.masks[name]
        assert np.abs(found - mask)[(mask > 0) | (found > 0)].mean() < 0.15, name
        middles = [np.average(head.neutral, axis=0, weights=each * head.surface.mass) for each in (mask, found)]
        assert np.linalg.norm(middles[0] - middles[1]) < edge, name
    assert np.sum(list(laid.masks.values()), axis=0).max() <= 1.0 + 1e-9


def test_how_wide_a_ramp_is_is_told_of_the_coarser_level(large: Head) -> None:
    """The width that the fine level's own distances give, within a tenth (our choice)."""
    for wide in (20.0, 40.0):
        share = np.clip(0.5 + large.neutral[:, 1] / wide, 0.0, 1.0)
        mask = share * share * (3.0 - 2.0 * share)
        told = ramp_width_mm(large, mask)
        assert told == pytest.approx(soft_border(large, mask).width_mm, rel=0.1) and told > 0.8 * wide
