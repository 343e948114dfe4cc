"""Laws of the prior and of the most likely head: what is planted comes back, whichever way it stands and however large.

Regression under a Gaussian process is checked against its closed formula: Rasmussen and Williams 2006, "Gaussian
Processes for Machine Learning", equations 2.23 and 2.24.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.bench.cube_sphere import cube_sphere
from composer.errors import MoueError
from composer.fitting.align import Pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.fit_words import LEAST_LIKELY
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.nonrigid import fit
from composer.fitting.prior.leftover import leftover
from composer.fitting.prior.placed_noise import MOST, TRIED, left_out, placed_noise
from composer.fitting.prior.posterior import Posterior
from composer.fitting.prior.prior import Prior, drawn
from composer.fitting.prior.rims import border_lines, find_rim
from composer.fitting.prior.skin_prior import head_deviations, skin_prior
from composer.fitting.prior.taper import taper
from composer.fitting.skin import Skin
from composer.geometry.polygons import Polygons
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.head.symmetry import mirror_of


@cache
def ball(side: int = 8) -> Head:
    """A ball that is its own mirror image about x = 0."""
    polygons, positions = cube_sphere(side)
    even = positions / np.linalg.norm(positions, axis=1)[:, None]
    return Head("ball", polygons, 100.0 * even * (0.8, 1.1, 0.95))


def wavy(seed: int) -> np.ndarray:
    """(n, 3) another head of the ball's topology: long waves, a few percent of the size."""
    rng, p = np.random.default_rng(seed), ball().neutral / 100.0
    out = np.zeros_like(p)
    for _ in range(6):
        out += np.sin(p @ rng.normal(size=3) * 2.0 + rng.uniform(0, 6))[:, None] * rng.normal(size=3)
    return ball().neutral + 2.0 * out


def system(prior: Prior, ids: np.ndarray, targets: np.ndarray, noise: float) -> Posterior:
    head = ball()
    pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], targets, ids, {})
    marks = MarkPulls.of(Skin.of(head), pairs, head.neutral, noise)
    rest = Surface(head.polygons, head.neutral)
    sculpt = ClosestSurface(head.neutral, head.polygons.triangles)
    return Posterior(prior, rest, sculpt, np.ones(head.n_vertices), marks, head.diagonal)


@cache
def prior_of(count: int) -> Prior:
    head = ball()
    return skin_prior(head, Skin.of(head), np.zeros(head.n_vertices), [wavy(seed) for seed in range(count)])


@given(st.integers(0, 2**32 - 1), st.sampled_from([0, 3]))
@settings(max_examples=10, deadline=None)
def test_columns_and_field_are_the_same_fields(seed: int, heads: int) -> None:
    prior = prior_of(heads)
    amounts = np.random.default_rng(seed).normal(size=prior.rank)
    ids = np.array([0, 5, 77])
    at_ids = prior.columns(ids).astype(float) @ amounts
    np.testing.assert_allclose(at_ids, prior.field(amounts)[ids], atol=1e-3)


@pytest.mark.parametrize("noise", [0.1, 3.0])
def test_landmarks_alone_are_regression_under_a_gaussian_process(noise: float) -> None:
    prior, rng = prior_of(3), np.random.default_rng(4)
    ids = np.array([3, 50, 120, 200, 260])
    wanted = rng.normal(scale=2.0, size=(5, 3))
    flat = prior.columns(ids).astype(float).reshape(15, -1)
    every = prior.columns(np.arange(ball().n_vertices)).astype(float).reshape(-1, prior.rank)
    expected = every @ flat.T @ np.linalg.solve(flat @ flat.T + noise**2 * np.eye(15), wanted.ravel())
    likely = system(prior, ids, ball().neutral[ids] + wanted, noise).through_landmarks()
    np.testing.assert_allclose(likely.positions - ball().neutral, expected.reshape(-1, 3), atol=2e-3)


def test_the_taper_is_a_gaussian_of_the_distance() -> None:
    points = np.random.default_rng(0).uniform(-100, 100, (60, 3))
    local = taper(points, 80.0)
    product = local @ local.T
    square = ((points[:, None] - points[None]) ** 2).sum(2)
    np.testing.assert_allclose(np.diag(product), 1.0)
    off = np.abs(product - np.exp(-square / (2 * 80.0**2)))
    assert off.mean() < 0.1
    assert (product[square < 20.0**2] > 0.8).all() and (np.abs(product[square > 250.0**2]) < 0.2).all()


@given(st.integers(0, 2**31), st.floats(0.2, 5.0))
@settings(max_examples=8, deadline=None)
def test_where_an_earlier_head_stands_and_how_large_it_is_says_nothing(seed: int, scale: float) -> None:
    head, skin = ball(), Skin.of(ball())
    turn, shift = Rotation.random(random_state=seed).as_matrix(), np.array([50.0, -900, 3])
    moved = scale * wavy(1) @ turn.T + shift
    one, other = (head_deviations(head, skin, [each]) for each in (wavy(1), moved))
    np.testing.assert_allclose(one, other, atol=1e-3)


def test_a_head_s_mirror_image_is_known_too() -> None:
    head, skin, mirror = ball(), Skin.of(ball()), mirror_of(ball())
    own, image = head_deviations(head, skin, [wavy(2)])
    np.testing.assert_allclose(mirror.vectors(own), image, atol=1e-4)
    np.testing.assert_allclose(mirror.vectors(image), own, atol=1e-4)


def fitted(true: np.ndarray, earlier: list[np.ndarray], count: int = 10, **more):  # type: ignore[no-untyped-def]
    head = ball()
    ids = drawn(np.ones(head.n_vertices), count)
    pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], true[ids], ids, {})
    return fit(head, ClosestSurface(true, head.polygons.triangles), pairs, earlier=earlier, settled=False, **more)


def test_earlier_heads_tell_where_the_skin_slides() -> None:
    known = [wavy(seed) for seed in range(8)]
    deviations = head_deviations(ball(), Skin.of(ball()), known)[::2].astype(float)
    true = ball().neutral + np.einsum("h,hnc->nc", np.random.default_rng(3).normal(size=8) / 2.0, deviations)
    without, taught = fitted(true, []), fitted(true, known)
    error = [float(np.linalg.norm(one.positions - true, axis=1).mean()) for one in (without, taught)]
    assert error[1] < 0.7 * error[0]
    assert without.from_heads == 0.0 and taught.from_heads > 0.5


def test_the_fit_under_earlier_heads_goes_with_the_sculpt() -> None:
    turn = Rotation.random(random_state=5).as_matrix()
    true, known = wavy(11), [wavy(seed) for seed in range(3)]
    one, other = fitted(true, known), fitted(3.0 * true @ turn.T + 7.0, known)
    np.testing.assert_allclose(other.positions, 3.0 * one.positions @ turn.T + 7.0, atol=0.02)
    np.testing.assert_allclose(other.slide_mm, 3.0 * one.slide_mm, rtol=1e-3)
    assert other.noise_mm == pytest.approx(3.0 * one.noise_mm)


def test_a_pinned_landmark_holds_and_the_others_pull() -> None:
    head, true = ball(), wavy(6)
    ids = drawn(np.ones(head.n_vertices), 10)
    places = true[ids].copy()
    places[4] += [1.5, 0.0, -1.0]
    pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], places, ids, {})
    sculpt, name = ClosestSurface(true, head.polygons.triangles), str(ids[4])

    def off(pinned: tuple[str, ...]) -> float:
        done = fit(head, sculpt, pairs, settled=False, pinned=pinned, noise_mm=0.4)
        return float(np.linalg.norm(done.positions[ids[4]] - places[4]))

    assert off((name,)) < 0.01 < 0.1 < off(())
    with pytest.raises(MoueError, match="nobody"):
        fit(head, sculpt, pairs, pinned=("nobody",))
    with pytest.raises(MoueError, match="within 0 mm"):
        fit(head, sculpt, pairs, noise_mm=0.0)
    with pytest.raises(MoueError, match="earlier head has 3"):
        fit(head, sculpt, pairs, earlier=[np.zeros((3, 3))])


@given(st.integers(0, 2**31), st.floats(0.3, 2.0))
@settings(max_examples=8, deadline=None)
def test_left_out_in_closed_form_is_each_landmark_foretold_by_the_others(seed: int, noise: float) -> None:
    prior, rng = prior_of(3), np.random.default_rng(seed)
    ids, wanted = rng.choice(ball().n_vertices, 7, replace=False), rng.normal(scale=3.0, size=(7, 3))
    columns = prior.columns(ids).astype(float)
    expected = []
    for i in range(7):
        others = np.arange(7) != i
        flat = columns[others].reshape(18, -1)
        told = flat.T @ np.linalg.solve(flat @ flat.T + noise**2 * np.eye(18), wanted[others].ravel())
        expected.append(np.linalg.norm(columns[i] @ told - wanted[i]))
    np.testing.assert_allclose(left_out(columns, wanted, noise)[0], expected, rtol=1e-5)
    assert not len(left_out(columns[:5], wanted[:5], noise)[0]), "five are too few to tell"


@given(st.integers(0, 2**31), st.floats(0.3, 2.0), st.integers(0, 9))
@settings(max_examples=20, deadline=None)
def test_where_all_else_agrees_the_one_put_astray_is_the_most_unlikely(seed: int, noise: float, astray: int) -> None:
    rng, wanted = np.random.default_rng(seed), np.zeros((10, 3))
    columns = prior_of(3).columns(rng.choice(ball().n_vertices, 10, replace=False)).astype(float)
    wanted[astray] = rng.normal(size=3)
    assert left_out(columns, wanted, noise)[1].argmax() == astray


@pytest.mark.parametrize("heads", [0, 3])
def test_a_landmark_put_astray_on_another_head_is_among_those_that_are_named(heads: int) -> None:
    head, prior, true = ball(), prior_of(heads), wavy(6)
    ids, sculpt = drawn(np.ones(head.n_vertices), 24), ClosestSurface(true, head.polygons.triangles)
    columns, ranks = prior.columns(ids).astype(float), []
    for astray in range(24):
        places = true[ids].copy()
        places[astray] = sculpt.closest((true[ids[astray]] + [9.0, 9.0, -9.0])[None]).points[0]
        if np.linalg.norm(places[astray] - true[ids[astray]]) < 8.0:
            continue  # the sculpt lies across this way
        wanted = places - prior.mean[ids]
        noise, unlike = placed_noise(columns, wanted, head.diagonal)
        unlikely = left_out(unlike * columns, wanted, noise)[1]
        ranks.append(int((unlikely > unlikely[astray]).sum()))
    assert len(ranks) > 16 and max(ranks) < LEAST_LIKELY and ranks.count(0) > 0.8 * len(ranks)


def test_the_fit_tells_which_landmark_was_put_astray() -> None:
    head, true = ball(), wavy(6)
    ids, sculpt = drawn(np.ones(head.n_vertices), 16), ClosestSurface(true, head.polygons.triangles)
    places = true[ids].copy()
    places[5] = sculpt.closest((true[ids[5]] + [12.0, 12.0, -12.0])[None]).points[0]
    pairs = Pairs(tuple(map(str, ids)), head.neutral[ids], places, ids, {})
    told = fit(head, sculpt, pairs, settled=False)
    assert 5 in np.argsort(-told.unlikely)[:LEAST_LIKELY] and told.left_out_mm[5] > 5.0


def test_the_landmarks_noise_is_told_within_its_bounds() -> None:
    prior, rng = prior_of(0), np.random.default_rng(1)
    ids, scale = drawn(np.ones(ball().n_vertices), 60), ball().diagonal
    columns = prior.columns(ids).astype(float)
    form = columns @ rng.normal(size=prior.rank)
    for share, expected in ((2e-4, TRIED[0]), (6e-4, 6e-4), (8e-4, 8e-4), (1e-2, MOST)):
        noise, unlike = placed_noise(columns, form + share * scale * rng.normal(size=form.shape), scale)
        assert noise / scale == pytest.approx(expected, rel=0.4) and unlike >= 1.0
    assert placed_noise(columns, 4.0 * form + 2e-4 * scale * rng.normal(size=form.shape), scale)[1] > 2.0
    assert placed_noise(columns[:4], form[:4], scale)[1] == 1.0


def test_what_neighbours_agree_on_is_corrected_and_a_hand_s_noise_is_not() -> None:
    rng, points = np.random.default_rng(3), ball().neutral
    ids, scale = drawn(np.ones(len(points)), 80), ball().diagonal
    common = 2.0 * np.sin(points / 60.0)
    corrected = leftover(points[ids], common[ids], points, scale)
    assert np.abs(corrected - common)[ids].mean() < 0.2 * np.abs(common[ids]).mean()
    assert not leftover(points[ids], rng.normal(size=(80, 3)), points, scale).any()
    larger = leftover(7 * points[ids], 7 * common[ids], 7 * points, 7 * scale)
    np.testing.assert_allclose(larger, 7 * corrected, atol=1e-6)


def test_landmarks_and_earlier_heads_leave_less_slide() -> None:
    few, many = fitted(wavy(9), [], 6), fitted(wavy(9), [], 40)
    assert (few.slide_mm > 0.0).all() and many.slide_mm.mean() < few.slide_mm.mean()


def half_ball(tint: bool) -> Head:
    """The ball cut at its neck; with `tint` it is whole, and a material ends there."""
    head = ball()
    above = (head.neutral[head.polygons.triangles][:, :, 1] > -40.0).all(axis=1)
    triangles = head.polygons.triangles
    if tint:
        faces = Polygons.from_faces(triangles.tolist(), head.n_vertices)
        return Head("tinted", faces, head.neutral, materials={"face": np.flatnonzero(above)})
    return Head("half", Polygons.from_faces(triangles[above].tolist(), head.n_vertices), head.neutral)


def test_a_border_is_a_line_and_the_longest_comes_first() -> None:
    square = np.array([[0.0, 0, 0], [3, 0, 0], [3, 4, 0], [0, 4, 0], [9, 0, 0], [10, 0, 0], [9, 1, 0]])
    lines = border_lines(np.array([[4, 5, 6], [0, 1, 2], [0, 2, 3]]), square)
    assert [line.length for line in lines] == [14.0, pytest.approx(2.0 + np.sqrt(2.0))]
    assert lines[0].vertices.tolist() == [0, 1, 2, 3]
    assert border_lines(ball().polygons.triangles, ball().neutral) == []


@pytest.mark.parametrize("tint", [False, True])
def test_where_a_sculpt_ends_is_found_on_the_library(tint: bool) -> None:
    cut, head = half_ball(False), half_ball(tint)
    sculpt = ClosestSurface(cut.neutral, cut.polygons.triangles)
    found = find_rim(head, Skin.of(head), head.neutral[Skin.of(head).vertices], sculpt)
    assert found is not None and found[1] == ("the edge of the material face" if tint else "the library's own border")
    way, along, distance = found[0].pulls(head.neutral[Skin.of(head).vertices][found[0].vertices])
    assert distance.max() < 1e-9 and np.abs(np.linalg.norm(along, axis=1) - 1.0).max() < 1e-9
    closed = ClosestSurface(ball().neutral, ball().polygons.triangles)
    assert find_rim(head, Skin.of(head), head.neutral[Skin.of(head).vertices], closed) is None


def test_a_prior_that_was_asked_for_before_is_that_of_a_fresh_topology() -> None:
    """What is kept from the prior before gives the same fields as where nothing is kept, also after other zones and
    another neutral of the same polygons were asked for."""
    polygons, positions = cube_sphere(6)
    zone = np.where(positions[:, 2] > 60.0, 1.0, 0.0)
    for neutral in (positions, positions * (1.0, 1.2, 0.9)):
        for freedom in (np.zeros(len(zone)), zone):
            again = Head("kept", polygons, neutral)
            fresh = Head("fresh", Polygons(polygons.counts, polygons.indices, polygons.n_vertices), neutral)
            for _ in range(2):
                kept, anew = (skin_prior(each, Skin.of(each), freedom) for each in (again, fresh))
                amounts = np.ones(kept.rank)
                np.testing.assert_allclose(kept.field(amounts), anew.field(amounts), rtol=1e-12, atol=1e-12)
