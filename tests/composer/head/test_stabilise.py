"""Head motion found and removed: planted motions, noise, and the motions that the demo's expressions record."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.demo.expressions import EXPRESSIONS, HeadMotion
from composer.geometry.rigid import similarity
from composer.head import stabilise
from composer.head.head import Head, InBetween, Shape
from composer.head.levels import levels, refine
from composer.head.stabilise import HeadMotion as Found
from composer.head.stabilise import between_name, head_motions
from tests.demo_heads import library
from tests.small_heads import CUBE, CUBE_CORNERS, random_rotation


def stabilised(head: Head, motions: dict[str, Found]) -> Head:
    """The head with the motions that matter taken from its shapes."""

    def without(name: str, delta: np.ndarray) -> np.ndarray:
        if not motions[name].matters:
            return delta
        return (motions[name].motion.inverse()(head.neutral + delta) - head.neutral).astype(np.float32)

    return head.with_(shapes=tuple(
        Shape(s.name, without(s.name, s.delta),
              tuple(InBetween(b.at, without(between_name(s.name, b.at), b.delta)) for b in s.inbetweens))
        for s in head.shapes
    ))  # fmt: skip


SEEDS = st.integers(0, 2**32 - 1)
STEPS = levels(CUBE, 4)
BALL = 130.0 * refine(CUBE_CORNERS, STEPS) * [0.7, 1.0, 0.8]


def planted(rng: np.random.Generator, noise: float = 0.0) -> tuple[Head, dict[str, tuple[np.ndarray, np.ndarray]]]:
    """A ball of 386 x 4 vertices with four expressions, each on a third of it, moved by up to 3 degrees and 4 mm."""
    shapes, motions = [], {}
    for name in ("a", "b", "c", "d"):
        place = BALL[rng.integers(len(BALL))]
        near = np.exp(-(((BALL - place) ** 2).sum(axis=1)) / (2 * 30.0**2))
        near[near < 0.05] = 0.0
        target = BALL + near[:, None] * rng.normal(size=3) * 8.0 + noise * rng.normal(size=BALL.shape)
        turn = Rotation.from_rotvec(np.radians(rng.uniform(0.5, 3)) * random_rotation(rng)[0])
        shift = rng.uniform(-4, 4, 3)
        motions[name] = turn.as_matrix(), shift
        shapes.append(Shape(name, (turn.apply(target) + shift - BALL).astype(np.float32)))
    return Head("ball", STEPS[-1].polygons, BALL, tuple(shapes)), motions


@settings(deadline=None, max_examples=15)
@given(seed=SEEDS)
def test_similarity_is_that_of_scipy(seed: int) -> None:
    """Umeyama 1991 against scipy.spatial.transform.Rotation.align_vectors on centred points."""
    rng = np.random.default_rng(seed)
    a, w = rng.normal(size=(9, 3)), rng.random(9) + 0.1
    turn, shift, scale = random_rotation(rng), rng.normal(size=3), rng.uniform(0.1, 9)
    b = scale * a @ turn.T + shift + 0.05 * rng.normal(size=(9, 3))
    found = similarity(a, b, w)
    middle, other = w @ a / w.sum(), w @ b / w.sum()
    expected = Rotation.align_vectors(b - other, a - middle, weights=w)[0].as_matrix()
    np.testing.assert_allclose(found.rotation, expected, atol=1e-9)
    exact = similarity(a, scale * a @ turn.T + shift, w)
    np.testing.assert_allclose(exact.inverse()(exact(a)), a, atol=1e-9)
    assert abs(exact.scale / scale - 1) < 1e-9


@settings(deadline=None, max_examples=10)
@given(seed=SEEDS)
def test_planted_motions_are_found_and_removed(seed: int) -> None:
    head, motions = planted(np.random.default_rng(seed))
    found = head_motions(head)
    for name, (turn, shift) in motions.items():
        motion = found[name].motion
        off = np.linalg.norm(motion(BALL) - (BALL @ turn.T + shift), axis=1)
        assert off.max() < 0.1  # mm; the angle follows, for the ball is 130 mm in radius
        assert found[name].turn_deg == pytest.approx(np.degrees(Rotation.from_matrix(turn).magnitude()), abs=0.05)
    again = head_motions(stabilised(head, found))
    assert not any(motion.matters for motion in again.values())


@settings(deadline=None, max_examples=6)
@given(seed=SEEDS)
def test_noise_of_a_scanner_leaves_a_tenth_of_a_degree_and_of_a_millimetre(seed: int) -> None:
    head, motions = planted(np.random.default_rng(seed), noise=0.2)
    found = head_motions(head)
    for name, (turn, shift) in motions.items():
        off = similarity(BALL @ turn.T + shift, found[name].motion(BALL), scaled=False)
        assert off.angle_deg < 0.1
        assert np.linalg.norm(found[name].motion(BALL).mean(axis=0) - (BALL @ turn.T + shift).mean(axis=0)) < 0.1


def test_in_betweens_have_motions_of_their_own() -> None:
    head, motions = planted(np.random.default_rng(2))
    turn, shift = motions["a"]
    half = Rotation.from_rotvec(0.5 * Rotation.from_matrix(turn).as_rotvec())
    delta = (half.apply(BALL.copy()) + 0.5 * shift - BALL).astype(np.float32)
    first = Shape("a", head.shapes[0].delta, (InBetween(0.5, delta),))
    found = head_motions(head.with_(shapes=(first, *head.shapes[1:])))
    assert found["a_50"].turn_deg == pytest.approx(0.5 * found["a"].turn_deg, abs=0.05)
    still = stabilised(head.with_(shapes=(first, *head.shapes[1:])), found)
    assert np.abs(still.shapes[0].inbetweens[0].delta).max() < 0.05


@pytest.mark.parametrize("with_landmarks", [True, False])
def test_the_demos_recorded_motions_are_found(with_landmarks: bool) -> None:
    """Within 0.1 degree and 0.1 mm of what `composer.demo.expressions` records."""
    names = ["laugh", "yawn", "sleepy", "surprise", "joy", "au26", "au12_left"]
    head = library(shapes=names)
    head = head if with_landmarks else head.with_(landmarks=None)
    found = head_motions(head)
    recorded = {each.name: each.motion for each in EXPRESSIONS}
    for name in names:
        whole = recorded.get(name, HeadMotion()).matrix()
        motion = found[name].motion
        apart = similarity(motion(head.neutral), head.neutral @ whole[:3, :3].T + whole[:3, 3], scaled=False)
        assert apart.angle_deg < 0.1
        assert np.linalg.norm(motion(head.neutral) - head.neutral @ whole[:3, :3].T - whole[:3, 3], axis=1).max() < 0.1
        assert found[name].matters == (recorded.get(name, HeadMotion()) != HeadMotion())


@given(seed=st.integers(0, 2**32 - 1))
def test_how_far_a_vertex_is_often_off_is_the_median_over_the_targets(seed: int) -> None:
    """Found by blocks of vertices; here over all at once (numpy's median)."""
    rng = np.random.default_rng(seed)
    neutral = rng.normal(size=(23, 3))
    deltas = {name: rng.normal(size=(23, 3)).astype(np.float32) for name in "abcd"}
    found = {name: similarity(neutral, neutral + delta, scaled=False) for name, delta in deltas.items()}
    off = [np.linalg.norm(found[name](neutral) - (neutral + delta), axis=1) for name, delta in deltas.items()]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stabilise, "BLOCK", 7)
        np.testing.assert_allclose(stabilise._often_off(neutral, deltas, found), np.median(off, axis=0), atol=1e-6)
