"""Subdivision against published masks, counts and limits, and against the rules written out in plain loops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head import levels as levels_module
from composer.head.finer_uv import finer_uv
from composer.head.head import Head, Part, Shape, TextureCoordinates
from composer.head.landmarks import Landmarks
from composer.head.levels import Refinement, head_at_level, levels, refine, vertex_count
from composer.head.rules import RuledRefinement
from composer.head.stencil_step import StencilStep
from tests.small_heads import CUBE, CUBE_CORNERS, fan, grid, polygon_meshes, random_head, torus


def by_loops(polygons: Polygons, points: np.ndarray) -> np.ndarray:
    """Catmull and Clark 1978, the rules as the paper words them, one point at a time (borders: 3/4, 1/8, 1/8)."""
    faces = [polygons.face(i).tolist() for i in range(polygons.n_faces)]
    face_points = [np.mean([points[v] for v in face], axis=0) for face in faces]
    at_edge: dict[tuple[int, int], list[int]] = {}
    for number, face in enumerate(faces):
        for a, b in zip(face, face[1:] + face[:1], strict=True):
            at_edge.setdefault((min(a, b), max(a, b)), []).append(number)
    out = []
    for v in range(polygons.n_vertices):
        edges = [edge for edge in at_edge if v in edge]
        border = [edge for edge in edges if len(at_edge[edge]) == 1]
        around = [face_points[i] for i, face in enumerate(faces) if v in face]
        if not edges or len(border) > 2:
            out.append(points[v])
        elif border:
            others = [edge[0] + edge[1] - v for edge in border]
            out.append(0.75 * points[v] + 0.125 * points[others[0]] + 0.125 * points[others[1]])
        else:
            n = len(edges)
            middles = [(points[a] + points[b]) / 2 for a, b in edges]
            out.append((np.mean(around, axis=0) + 2 * np.mean(middles, axis=0) + (n - 3) * points[v]) / n)
    for edge in sorted(at_edge):
        ends = [points[edge[0]], points[edge[1]]]
        both = [face_points[i] for i in at_edge[edge]]
        out.append(np.mean(ends + both, axis=0) if len(both) == 2 else np.mean(ends, axis=0))
    return np.array(out + face_points)


@settings(deadline=None, max_examples=60)
@given(polygon_meshes(), st.integers(0, 2**32 - 1))
def test_two_levels_equal_the_rules_written_in_loops(polygons: Polygons, seed: int) -> None:
    points = np.random.default_rng(seed).normal(size=(polygons.n_vertices, 3))
    first, second = levels(polygons, 2)
    after = by_loops(polygons, points)
    np.testing.assert_allclose(first.apply(points), after, rtol=0, atol=1e-12)
    np.testing.assert_allclose(second.apply(after), by_loops(first.polygons, after), rtol=0, atol=1e-12)


@settings(deadline=None, max_examples=60)
@given(polygon_meshes())
def test_rows_are_weights_and_the_edges_known_ahead_are_the_edges_there_are(polygons: Polygons) -> None:
    for step in levels(polygons, 3):
        np.testing.assert_allclose(np.asarray(step.matrix.sum(axis=1)).ravel(), 1.0, atol=1e-13)
        assert step.matrix.data.min() > 0.0
        anew = Polygons(step.polygons.counts, step.polygons.indices, step.polygons.n_vertices)
        assert np.array_equal(anew.edges, step.polygons.edges)
        assert np.array_equal(anew.corner_edge, step.polygons.corner_edge)


@settings(deadline=None, max_examples=60)
@given(polygon_meshes(), st.integers(0, 2**32 - 1))
def test_a_step_without_a_matrix_is_the_step_with_one_to_the_bit(polygons: Polygons, seed: int) -> None:
    # The matrix is held to the rules and to published masks above and below.
    for step in levels(polygons, 3)[1:]:
        values = np.random.default_rng(seed).normal(size=(step.coarse.n_vertices, 3))
        straight = StencilStep(step.coarse)
        assert np.array_equal(straight.apply(values), step.matrix @ values)
        single = values.astype(np.float32)
        assert np.array_equal(straight.apply(single), step.matrix32 @ single)


def test_a_large_mesh_is_subdivided_by_the_rules_without_a_matrix(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(levels_module, "LEAST_FACES", 1)
    mesh = grid(5, 4)
    points = np.random.default_rng(5).normal(size=(mesh.n_vertices, 3))
    first, second = levels(mesh, 2)
    after = by_loops(mesh, points)
    np.testing.assert_allclose(second.apply(after), by_loops(first.polygons, after), rtol=0, atol=1e-12)
    np.testing.assert_allclose(second.apply(after[:, 0]), second.apply(after)[:, 0], rtol=0, atol=0)
    assert "matrix" not in second.__dict__
    whole = np.arange(first.n_vertices)
    assert np.array_equal(second.apply(whole), second.apply(whole.astype(np.float64)))
    ruled = RuledRefinement(mesh)
    assert np.array_equal(ruled.apply(points)[[0, 3]], points[[0, 3]]) and "matrix" in ruled.__dict__


@settings(deadline=None, max_examples=30)
@given(polygon_meshes(), st.integers(0, 3))
def test_counts_follow_the_recurrence(polygons: Polygons, k: int) -> None:
    # V' = V + E + F, E' = 2 E + sum of face valences, F' = sum of face valences (Catmull and Clark 1978).
    last = levels(polygons, k)[-1].polygons if k else polygons
    assert vertex_count(polygons, k) == last.n_vertices
    for step in levels(polygons, k):
        assert len(step.polygons.edges) == 2 * len(step.coarse.edges) + len(step.coarse.indices)
        assert step.polygons.n_faces == len(step.coarse.indices)


def test_a_cube_has_the_known_counts_corner_and_limit() -> None:
    # Half-side 1: V 26 / 98 / 386, F 24 / 96 / 384, the corner at 5/9 after one level, 0.5 in the limit (the limit
    # mask of Halstead, Kass and DeRose 1993: (n^2 v + 4 sum edge + sum opposite) / (n (n + 5)); from memory).
    steps = levels(CUBE, 7)
    assert [step.polygons.n_vertices for step in steps[:3]] == [26, 98, 386]
    assert [step.polygons.n_faces for step in steps[:3]] == [24, 96, 384]
    once = steps[0].apply(CUBE_CORNERS)
    np.testing.assert_allclose(np.abs(once[:8]), 5 / 9, atol=1e-14)
    np.testing.assert_allclose(np.abs(refine(CUBE_CORNERS, steps)[:8]), 0.5, atol=1e-4)
    finer = steps[0].polygons
    sides = finer.edges[(finer.edges == 7).any(axis=1)].sum(axis=1) - 7
    opposite = [set(finer.face(f)) - {7, *sides} for f in range(finer.n_faces) if 7 in finer.face(f)]
    limit = (9 * once[7] + 4 * once[sides].sum(axis=0) + sum(once[list(o)[0]] for o in opposite)) / 24
    np.testing.assert_allclose(np.abs(limit), 0.5, atol=1e-14)


def test_a_regular_inner_vertex_has_the_masks_of_bicubic_splines() -> None:
    # Uniform cubic B-spline knot insertion, 1/8 (1 6 1) and 1/2 (1 1) along each direction, as a tensor product.
    step = Refinement(torus(6, 6))
    row = step.matrix.toarray()[14].reshape(6, 6)[1:4, 1:4]
    np.testing.assert_allclose(row, np.outer([1, 6, 1], [1, 6, 1]) / 64, atol=1e-15)
    edges = step.coarse.edges.tolist()
    across = step.matrix.toarray()[36 + edges.index([14, 15])].reshape(6, 6)[1:4, 2:4]
    np.testing.assert_allclose(across, np.outer([1, 6, 1], [1, 1]) / 16, atol=1e-15)


@pytest.mark.parametrize("valence", range(3, 9))
def test_an_extraordinary_vertex_has_the_mask_of_its_valence(valence: int) -> None:
    # v (n-2)/n, each neighbour 1/n^2, each new face point 1/n^2 (Catmull and Clark 1978).
    n = valence
    row = Refinement(fan(n)).matrix.toarray()[0]
    face_point = 1 / n**2 / 4
    np.testing.assert_allclose(row[0], (n - 2) / n + n * face_point, atol=1e-15)
    np.testing.assert_allclose(row[1 : 1 + n], 1 / n**2 + 2 * face_point, atol=1e-15)
    np.testing.assert_allclose(row[1 + n :], face_point, atol=1e-15)


def test_a_border_is_a_cubic_spline_of_its_own() -> None:
    step = Refinement(grid(4, 4))
    row = step.matrix.toarray()[1]
    np.testing.assert_allclose(row[[0, 1, 2]], [0.125, 0.75, 0.125], atol=1e-15)
    assert np.count_nonzero(row) == 3
    edge = 16 + step.coarse.edges.tolist().index([1, 2])
    np.testing.assert_allclose(step.matrix.toarray()[edge][[1, 2]], 0.5, atol=1e-15)


def test_values_of_one_column_and_float32_keep_their_kind() -> None:
    step = Refinement(CUBE)
    assert step.apply(np.ones(8)).shape == (26,)
    low = step.apply(CUBE_CORNERS.astype(np.float32))
    assert low.dtype == np.float32
    np.testing.assert_allclose(low, step.apply(CUBE_CORNERS), atol=1e-6)
    with pytest.raises(MoueError, match="7 values for a level of 8 vertices"):
        step.apply(np.ones(7))


def test_a_level_out_of_range_is_refused() -> None:
    with pytest.raises(MoueError, match="level -1 is not in 0 to 8"):
        levels(CUBE, -1)


def test_texture_coordinates_are_linear_and_keep_their_seam() -> None:
    # Two quads that share an edge in space and none in the texture.
    mesh = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2]], 6)
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [3, 0], [4, 0], [4, 1], [3, 1]], dtype=np.float64)
    finer = finer_uv(mesh, TextureCoordinates(uv, np.arange(8, dtype=np.int32)), 1)
    at = finer.uv[finer.indices].reshape(2, 4, 4, 2)
    np.testing.assert_allclose(at[0, 0], [[0, 0], [0.5, 0], [0.5, 0.5], [0, 0.5]])
    np.testing.assert_allclose(at[1, 3], [[3, 1], [3, 0.5], [3.5, 0.5], [3.5, 1]])
    assert not set(finer.indices[:16]) & set(finer.indices[16:])
    assert len(finer.uv) == 8 + 8 + 2


def test_a_polygon_without_coordinates_gives_quads_without() -> None:
    mesh = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2]], 6)
    index = np.array([0, 1, 2, 3, -1, -1, -1, -1], dtype=np.int32)
    finer = finer_uv(mesh, TextureCoordinates(np.eye(4, 2), index), 1)
    assert (finer.indices[16:] == -1).all() and (finer.indices[:16] >= 0).all()


def test_a_head_takes_everything_with_it() -> None:
    rng = np.random.default_rng(5)
    two = Polygons.from_faces([[0, 1, 2, 3], [1, 4, 5, 2], [6, 7, 8, 9]], 10)
    head = random_head(rng, two, 2, between=1).with_(
        parts=(Part("tongue", np.arange(6, 10, dtype=np.int32), "jaw"),),
        groups={"face": np.array([0, 1], dtype=np.int32)},
        colours=rng.random((10, 3)),
        landmarks=Landmarks({"gnathion": 4}, {"lip": [0, 1, 4]}),
    )
    fine = head_at_level(head, 2)
    steps = levels(two, 2)
    assert fine.n_vertices == vertex_count(two, 2)
    np.testing.assert_array_equal(fine.neutral, refine(head.neutral, steps))
    np.testing.assert_array_equal(fine.shapes[0].inbetweens[0].delta, refine(head.shapes[0].inbetweens[0].delta, steps))
    assert fine.groups["face"].tolist() == list(range(32))
    assert len(fine.parts[0].vertices) == 25 and not fine.skin[fine.polygons.indices.reshape(-1, 4)[32:]].any()
    assert fine.landmarks is not None and fine.landmarks.points["gnathion"] == 4
    line = np.asarray(fine.landmarks.curves["lip"])
    edges = {tuple(edge) for edge in fine.polygons.edges.tolist()}
    assert len(line) == 9 and all(tuple(sorted(pair)) in edges for pair in zip(line, line[1:], strict=False))
    assert head_at_level(head, 0) is head


def test_progress_names_each_shape() -> None:
    told: list[str] = []
    head = random_head(np.random.default_rng(1), CUBE, 2)
    head_at_level(head, 1, lambda fraction, words: told.append(words))
    assert told == ["subdividing shape_0", "subdividing shape_1"]


def test_a_mesh_without_polygons_stays() -> None:
    head = Head("none", Polygons.from_faces([], 2), np.zeros((2, 3)), (Shape("s", np.ones((2, 3), np.float32)),))
    fine = head_at_level(head, 1)
    assert fine.n_vertices == 2 and np.array_equal(fine.shapes[0].delta, head.shapes[0].delta)


def test_the_limit_of_a_vertex_is_the_same_before_and_after_a_level() -> None:
    """The limit mask is a left eigenvector: it gives the same point before and after a step (Halstead et al. 1993)."""
    for n in range(3, 9):
        rng = np.random.default_rng(n)
        mesh = fan(n)
        points = rng.normal(size=(1 + 2 * n, 3))

        def limit(values: np.ndarray, sides: list[int], corners: list[int], v: int = n) -> np.ndarray:
            return (v * v * values[0] + 4 * values[sides].sum(0) + values[corners].sum(0)) / (v * (v + 5))

        before = limit(points, list(range(1, 1 + n)), list(range(1 + n, 1 + 2 * n)))
        step = Refinement(mesh)
        after = step.apply(points)
        near = step.polygons.edges[(step.polygons.edges == 0).any(axis=1)].sum(axis=1).tolist()
        faces = [1 + 2 * n + len(mesh.edges) + f for f in range(n)]
        np.testing.assert_allclose(limit(after, near, faces), before, atol=1e-13)
