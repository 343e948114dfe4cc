"""Laws of the fit: identity, similarity in similarity out, planted maps, nothing folded, masks kept bit for bit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator
from scipy.spatial.transform import Rotation

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.fitting.align import Pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.loops import Loops
from composer.fitting.nonrigid import fit
from composer.fitting.project import project, settle
from composer.fitting.relax import relax
from composer.fitting.warp import warp
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.levels import levels, refine


def spread(points: np.ndarray, count: int) -> np.ndarray:
    """Vertices far from each other (farthest point sampling)."""
    chosen, away = [0], np.linalg.norm(points - points[0], axis=1)
    for _ in range(count - 1):
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(points - points[chosen[-1]], axis=1))
    return np.array(chosen, dtype=np.int64)


def a_head(side: int = 12) -> Head:
    polygons, positions = cube_sphere(side, seed=2)
    return Head("ball", polygons, positions * (0.8, 1.1, 0.95))


def bent(points: np.ndarray) -> np.ndarray:
    """A smooth map, a few percent of the size."""
    u = points / 110.0
    return points * (1.05, 0.96, 1.02) + 4.0 * np.stack(
        [np.sin(1.5 * u[:, 1] + 0.3), np.sin(1.7 * u[:, 2]), np.cos(1.3 * u[:, 0] + u[:, 1])], axis=1
    )


def planted(head: Head, count: int = 24, finer: int = 2) -> tuple[ClosestSurface, Pairs, np.ndarray]:
    """A dense sculpt of the bent head, landmark pairs, and the true place of every vertex of the cage."""
    steps = levels(head.polygons, finer)
    dense = refine(head.neutral, steps)
    sculpt = ClosestSurface(bent(dense), steps[-1].polygons.triangles)
    true = bent(dense[: head.n_vertices])
    ids = spread(head.neutral, count)
    return sculpt, Pairs(tuple(f"p{i}" for i in ids), head.neutral[ids], true[ids], ids, {}), true


def onto_itself(head: Head) -> tuple[ClosestSurface, Pairs]:
    ids = spread(head.neutral, 12)
    places = head.neutral[ids]
    return ClosestSurface(head.neutral, head.polygons.triangles), Pairs(
        tuple(map(str, ids)), places, places, ids, {}
    )


def test_a_head_fits_onto_itself_as_it_is() -> None:
    head = a_head()
    sculpt, pairs = onto_itself(head)
    assert np.abs(fit(head, sculpt, pairs).positions - head.neutral).max() <= 1e-6 * head.diagonal


@pytest.mark.parametrize("seed", range(3))
def test_moving_the_sculpt_moves_the_fit(seed: int) -> None:
    head = a_head(8)
    sculpt, pairs, _ = planted(head, 16, finer=1)
    turn, scale, shift = Rotation.random(random_state=seed).as_matrix(), 0.3 + seed, np.array([5.0, -90.0, 40.0])

    def move(points: np.ndarray) -> np.ndarray:
        return scale * points @ turn.T + shift

    moved = ClosestSurface(move(sculpt.positions), sculpt.triangles)
    first = fit(head, sculpt, pairs).positions
    second = fit(head, moved, Pairs(pairs.names, pairs.head, move(pairs.sculpt), pairs.vertices, {})).positions
    assert np.abs(second - move(first)).max() <= 1e-5 * scale * head.diagonal
    again = fit(head, ClosestSurface(scale * sculpt.positions + shift, sculpt.triangles),
                Pairs(pairs.names, pairs.head, scale * pairs.sculpt + shift, pairs.vertices, {})).positions  # fmt: skip
    assert np.abs(again - (scale * first + shift)).max() <= 1e-6 * scale * head.diagonal


def test_a_planted_smooth_map_is_found_better_than_by_landmarks_and_closest_points() -> None:
    head = a_head(16)
    sculpt, pairs, true = planted(head)
    held = np.setdiff1d(np.arange(head.n_vertices), pairs.vertices)
    warp = RBFInterpolator(pairs.head, pairs.sculpt - pairs.head, kernel="cubic", degree=1)
    plain = sculpt.closest(head.neutral + warp(head.neutral)).points
    ours = fit(head, sculpt, pairs).positions

    def error(p: np.ndarray) -> float:
        return float(np.linalg.norm(p - true, axis=1)[held].mean())

    assert error(ours) <= 1.05 * error(plain)
    assert error(ours) <= 2e-3 * head.diagonal


def test_nothing_is_folded_and_landmarks_hold() -> None:
    head = a_head(16)
    sculpt, pairs, _ = planted(head)
    done = fit(head, sculpt, pairs)
    assert Loops(head.polygons, head.neutral).counts(done.positions) == (0, 0)
    assert sculpt.closest(done.positions).distance.max() <= 1e-6 * head.diagonal
    off = np.linalg.norm(done.positions[pairs.vertices] - pairs.sculpt, axis=1)
    assert off.max() <= 2e-3 * head.diagonal


def test_a_free_mask_of_another_length_is_refused() -> None:
    head = a_head(6)
    sculpt, pairs = onto_itself(head)
    with pytest.raises(MoueError, match="free mask"):
        fit(head, sculpt, pairs, np.zeros(3))


def test_relax_leaves_vertices_outside_the_mask_bit_for_bit() -> None:
    head = a_head()
    lot = np.random.default_rng(0)
    sculpt, _ = onto_itself(head)
    slid = sculpt.closest(head.neutral + lot.normal(size=head.neutral.shape)).points
    mask = (head.neutral[:, 0] > 0).astype(float)
    out = relax(head.polygons, slid, sculpt, head.neutral, mask)
    assert np.array_equal(out[mask == 0], slid[mask == 0])
    assert not np.array_equal(out[mask > 0], slid[mask > 0])


def test_relax_gives_slid_loops_back() -> None:
    head = a_head()
    lot = np.random.default_rng(1)
    sculpt, _ = onto_itself(head)
    slid = sculpt.closest(head.neutral + 2.0 * lot.normal(size=head.neutral.shape)).points
    out = relax(head.polygons, slid, sculpt, head.neutral)

    def off(p: np.ndarray) -> float:
        a, b = head.polygons.edges.T
        now, own = (np.linalg.norm(v[a] - v[b], axis=1) for v in (p, head.neutral))
        return float(np.abs(np.log(now / own)).mean())

    assert off(out) < 0.6 * off(slid)
    assert sculpt.closest(out).distance.max() < 1e-6


def test_projection_goes_up_until_edges_are_as_short_as_the_sculpt_s() -> None:
    head = a_head(8)
    sculpt, pairs, _ = planted(head, finer=2)
    done = project(head.polygons, fit(head, sculpt, pairs).positions, sculpt, reference=head.neutral)
    assert [level.k for level in done] == [0, 1, 2]
    assert [len(level.positions) for level in done][1:] == [s.n_vertices for s in levels(head.polygons, 2)]
    assert sculpt.closest(done[-1].positions).distance.max() < 1e-6
    assert done[-1].bad_faces == 0 and not done[-1].rejected.any()


def test_protected_vertices_stay_bit_for_bit() -> None:
    head = a_head(8)
    sculpt, _, _ = planted(head)
    keep = (head.neutral[:, 1] > 0).astype(float)
    done = project(head.polygons, head.neutral, sculpt, reference=head.neutral, protect=keep, up_to=0, reach_mm=30.0)
    assert np.array_equal(done[0].positions[keep == 1], head.neutral[keep == 1])


def test_what_is_out_of_reach_is_rejected_and_filled_smoothly() -> None:
    """A sphere's vertices near a hole in a larger sphere have nothing to go to: they go out with the others."""
    polygons, positions = cube_sphere(16)
    ball = 100.0 * positions / np.linalg.norm(positions, axis=1, keepdims=True)
    triangles = polygons.triangles
    open_ = triangles[(ball[triangles][:, :, 2].mean(axis=1) < 85.0)]
    surface = Surface(polygons, ball)
    done = settle(
        surface, ClosestSurface(ball * 1.02, open_), 3.0, loops=Loops(polygons, ball), ideal=ball
    )
    top = ball[:, 2] > 90.0
    assert done.rejected[top].all() and done.filled[top].all()
    assert np.allclose(np.linalg.norm(done.positions, axis=1), 102.0, atol=0.4)


def test_a_reach_of_nothing_is_refused() -> None:
    head = a_head(6)
    sculpt, _ = onto_itself(head)
    with pytest.raises(MoueError, match="reach"):
        project(head.polygons, head.neutral, sculpt, reference=head.neutral, reach_mm=0.0)


def test_what_landmarks_of_one_side_say_is_not_carried_on_to_the_other() -> None:
    head = a_head()
    front = np.flatnonzero(head.neutral[:, 2] > 0.6 * head.neutral[:, 2].max())
    ids = front[spread(head.neutral[front], 10)]
    pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], head.neutral[ids] * (1.3, 1.0, 1.0), ids, {})
    through, _ = warp(pairs, head.neutral, head.diagonal)
    moved = np.linalg.norm(through(head.neutral) - head.neutral, axis=1)
    assert moved[ids].max() > 0.05 * head.diagonal  # there it goes where they say
    np.testing.assert_allclose(through(head.neutral[ids]), pairs.sculpt, atol=1e-6 * head.diagonal)
    back = head.neutral[:, 2] < -0.5 * head.neutral[:, 2].max()
    assert moved[back].max() < moved[ids].max()
