"""Laws of carrying: what must hold of every way, whatever the heads."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from composer.errors import MoueError
from composer.fitting.amplitude import Amplitude, amplitude_of, size_words
from composer.fitting.carry import WAYS, Carrier, Way
from composer.fitting.frames import similarity_between
from composer.head.head import Head, Shape
from tests.composer.fitting.carry_heads import BALL, COLUMNS, EYE_AT, SHEET, SLIT, head, neutral
from tests.small_heads import random_rotation

SKIN = SHEET + COLUMNS - 2
EYE = slice(SKIN, SKIN + BALL)
UPPER, LOWER = SLIT * COLUMNS + np.arange(1, COLUMNS - 1), SHEET + np.arange(COLUMNS - 2)
contacts = pytest.mark.parametrize("contact", [False, True], ids=["free", "touching"])
seeds = st.integers(0, 2**32 - 1)


def moved(old: Head, rotation: np.ndarray, scale: float, shift: np.ndarray) -> Head:
    """A head turned, scaled and shifted, its shapes with it."""
    shapes = tuple(Shape(s.name, (scale * s.delta @ rotation.T).astype(np.float64)) for s in old.shapes)  # type: ignore[arg-type]
    return old.with_(neutral=scale * old.neutral @ rotation.T + shift, shapes=shapes)


def exact(old: Head) -> Head:
    """The head with its shapes in float64, so that laws are not hidden by rounding."""
    return moved(old, np.eye(3), 1.0, np.zeros(3))


def new_neutral(seed: int) -> np.ndarray:
    return neutral(seed=seed % 1000 + 1, radius=11.0, wide=1.1)


@contacts
@pytest.mark.parametrize("way", WAYS)
def test_onto_the_same_neutral_every_way_is_the_identity(way: Way, contact: bool) -> None:
    old = exact(head(3))
    carrier = Carrier(old, old.neutral, way, contact)
    for shape in old.shapes:
        np.testing.assert_allclose(carrier.carry(shape.delta), shape.delta, atol=1e-9 * old.diagonal)


@contacts
@pytest.mark.parametrize("way", WAYS)
@given(seed=seeds)
@settings(max_examples=4, deadline=None)
def test_carrying_commutes_with_a_motion_and_a_scale_of_both_heads(way: Way, contact: bool, seed: int) -> None:
    rng = np.random.default_rng(seed)
    old, target = exact(head(3)), new_neutral(seed)
    rotation, scale, shift = random_rotation(rng), rng.uniform(0.1, 10.0), rng.normal(0.0, 100.0, 3)
    other = moved(old, rotation, scale, shift)
    there = Carrier(other, scale * target @ rotation.T + shift, way, contact)
    here = Carrier(old, target, way, contact)
    for one, two in zip(old.shapes, other.shapes, strict=True):
        want = scale * here.carry(one.delta) @ rotation.T
        np.testing.assert_allclose(there.carry(two.delta), want, atol=1e-7 * other.diagonal)


@contacts
@pytest.mark.parametrize("way", ["frame", "gradient"])
@given(seed=seeds)
@settings(max_examples=4, deadline=None)
def test_frame_and_gradient_do_not_care_how_the_new_head_stands(way: Way, contact: bool, seed: int) -> None:
    rng = np.random.default_rng(seed)
    old, target = exact(head(3)), new_neutral(seed)
    rotation, scale, shift = random_rotation(rng), rng.uniform(0.1, 10.0), rng.normal(0.0, 100.0, 3)
    here = Carrier(old, target, way, contact, "head")
    there = Carrier(old, scale * target @ rotation.T + shift, way, contact, "head")
    for shape in old.shapes:
        want = scale * here.carry(shape.delta) @ rotation.T
        np.testing.assert_allclose(there.carry(shape.delta), want, atol=1e-6 * scale * old.diagonal)


@pytest.mark.parametrize("way", WAYS)
@given(scale=st.floats(0.9, 1.1))
@settings(max_examples=6, deadline=None)
def test_between_heads_of_alike_size_displacements_keep_their_length(way: Way, scale: float) -> None:
    old = exact(head(3))
    same = Carrier(old, scale * old.neutral, way, contact=False)
    grown = Carrier(old, scale * old.neutral, way, contact=False, amplitude="head")
    for name in ("wild", "shut", "jaw"):
        delta = old.shape(name).delta[:SKIN]
        np.testing.assert_allclose(same.carry(old.shape(name).delta)[:SKIN], delta, atol=1e-9 * old.diagonal)
        np.testing.assert_allclose(grown.carry(old.shape(name).delta)[:SKIN], scale * delta, atol=1e-9 * old.diagonal)


@given(scale=st.floats(0.05, 20.0), more=st.floats(1.0, 1.01))
@settings(deadline=None)
def test_the_amplitude_goes_over_from_the_librarys_to_the_heads_without_a_jump(scale: float, more: float) -> None:
    amplitude, beside = amplitude_of(scale, "auto"), amplitude_of(more * scale, "auto")
    assert min(1.0, scale) <= amplitude <= max(1.0, scale)
    assert 1.0 <= beside / amplitude <= 1.05
    assert amplitude_of(1.0 / scale, "auto") == pytest.approx(1.0 / amplitude)
    if not 1.0 / 1.3 < scale < 1.3:
        assert amplitude == pytest.approx(scale)
    assert amplitude_of(scale, "library") == 1.0 and amplitude_of(scale, "head") == scale


def test_a_size_that_matters_is_told_and_another_is_not() -> None:
    assert size_words(1.02, 1.0) == ""
    assert "0.88 times as large" in size_words(0.88, 1.0) and "as far in mm" in size_words(0.88, 1.0)
    assert "1.50 times as far" in size_words(1.5, 1.5)


@pytest.mark.parametrize("way", ["delta", "frame"])
def test_delta_and_frame_are_linear_on_the_skin(way: Way) -> None:
    old = exact(head(3))
    carrier = Carrier(old, new_neutral(5), way, contact=False)
    a, b = old.shape("wild").delta, old.shape("jaw").delta
    summed = carrier.carry(2.0 * a - 0.5 * b)[:SKIN]
    apart = 2.0 * carrier.carry(a)[:SKIN] - 0.5 * carrier.carry(b)[:SKIN]
    np.testing.assert_allclose(summed, apart, atol=1e-9)


@contacts
@pytest.mark.parametrize("way", WAYS)
def test_nothing_gives_nothing(way: Way, contact: bool) -> None:
    old = head(3)
    assert not Carrier(old, new_neutral(5), way, contact).carry(np.zeros_like(old.neutral)).any()


@pytest.mark.parametrize("way", WAYS)
def test_an_eyeball_turns_about_its_new_centre_by_the_old_angle(way: Way) -> None:
    old = exact(head(0))
    target = neutral(1, radius=9.0)
    target[EYE] += [1.5, 0.0, 0.7]
    pose = target + Carrier(old, target, way).carry(old.shape("look").delta)
    centre = EYE_AT + [1.5, 0.0, 0.7]
    np.testing.assert_allclose(np.linalg.norm(pose[EYE] - centre, axis=1), 9.0, atol=1e-6)
    turn = Rotation.align_vectors(pose[EYE] - centre, target[EYE] - centre)[0]
    assert np.degrees(turn.magnitude()) == pytest.approx(20.0, abs=1e-6)
    assert not (pose - target)[:SKIN].any()


@pytest.mark.parametrize("way", WAYS)
def test_what_the_jaw_carries_stays_rigid_and_goes_with_the_chin(way: Way) -> None:
    old = exact(head(0))
    tooth = slice(SKIN + BALL, None)
    pose = (target := neutral(4, wide=1.2)) + Carrier(old, target, way).carry(old.shape("jaw").delta)
    likeness = similarity_between(target[tooth], pose[tooth])
    np.testing.assert_allclose(likeness(target[tooth]), pose[tooth], atol=1e-6)
    assert likeness.scale == pytest.approx(1.0, abs=1e-6)
    assert np.degrees(Rotation.from_matrix(likeness.rotation).magnitude()) == pytest.approx(15.0, abs=1e-4)


@pytest.mark.parametrize(("amplitude", "wide", "lower"), [("head", 1.3, 1.0), ("library", 1.2, 0.8)])
@pytest.mark.parametrize("way", WAYS)
def test_lids_that_shut_shut_on_the_new_head_and_not_without_contact(
    way: Way, amplitude: Amplitude, wide: float, lower: float
) -> None:
    """A larger head, whose slit is wider by more than its size; what moves less far has less to close it with."""
    old = exact(head(0))
    target = neutral(9, wide=wide)
    target[LOWER] -= [0.0, lower, 0.0]
    for contact in (False, True):
        pose = target + Carrier(old, target, way, contact, amplitude).carry(old.shape("shut").delta)
        gap = np.linalg.norm(pose[UPPER] - pose[LOWER], axis=1).max()
        assert gap < 0.2 if contact else gap > 0.3


def test_lids_keep_their_height_above_the_new_eyeball() -> None:
    """The old lid slides on a ball of 12 mm about EYE_AT; heights above 11 mm are to change as those above 12 did."""
    old = exact(head(0))
    target = neutral(0, radius=11.0) - np.where(np.arange(len(old.neutral)) < SKIN, 1.0, 0.0)[:, None] * [0, 0, 0.6]
    delta = np.zeros_like(old.neutral)
    near = np.flatnonzero(np.linalg.norm(old.neutral[:SKIN] - EYE_AT, axis=1) < 19.0)
    arm = old.neutral[near] - EYE_AT
    delta[near] = Rotation.from_euler("x", 12, degrees=True).apply(arm) - arm
    pose = target + Carrier(old, target, "delta").carry(delta)
    before, after = (np.linalg.norm(x[near] - EYE_AT, axis=1) for x in (target, pose))
    close = np.linalg.norm(old.neutral[near] - EYE_AT, axis=1) - 12.0 < 0.008 * old.diagonal
    raw = target + Carrier(old, target, "delta", contact=False).carry(delta)
    left = np.abs(after - before).max(where=close, initial=0.0)
    assert left < 0.1 * np.abs(np.linalg.norm(raw[near] - EYE_AT, axis=1) - before).max(where=close, initial=0.0)


@pytest.mark.parametrize("contact", [False, True])
def test_what_no_shape_moves_is_anchored(contact: bool) -> None:
    old = head(0)
    quiet = old.with_(shapes=(old.shape("jaw"), old.shape("look")))
    carried = Carrier(quiet, neutral(4), "gradient", contact).carry(quiet.shape("jaw").delta)
    still = ~quiet.shape("jaw").delta.any(axis=1)
    assert np.abs(carried[still]).max() < 0.02
    assert np.abs(carried).max() > 4.0


def test_what_does_not_fit_is_refused_in_one_line() -> None:
    old = head(0)
    with pytest.raises(MoueError, match="no way 'sideways'"):
        Carrier(old, old.neutral, "sideways")  # type: ignore[arg-type]
    with pytest.raises(MoueError, match="no amplitude 'twice'"):
        Carrier(old, old.neutral, amplitude="twice")  # type: ignore[arg-type]
    with pytest.raises(MoueError, match="vertices"):
        Carrier(old, old.neutral[:-1])
    with pytest.raises(MoueError, match="vertex 3 "):
        Carrier(old, np.where(np.arange(len(old.neutral))[:, None] == 3, np.nan, old.neutral))
    with pytest.raises(MoueError, match="without size"):
        Carrier(old, np.zeros_like(old.neutral))
    with pytest.raises(MoueError, match="displacement"):
        Carrier(old, old.neutral).carry(np.zeros((3, 3)))


@pytest.mark.parametrize("way", WAYS)
@given(seed=seeds)
@settings(max_examples=6, deadline=None)
def test_contact_moves_nothing_further_than_one_and_a_half_times_what_moves_beside_it(way: Way, seed: int) -> None:
    old, target = exact(head(3)), new_neutral(seed)
    target[LOWER] -= [0.0, 3.0 * (seed % 7), 0.0]
    held, free = Carrier(old, target, way), Carrier(old, target, way, contact=False)
    for shape in old.shapes:
        plain = np.linalg.norm(free.carry(shape.delta)[:SKIN], axis=1)
        touched = np.linalg.norm(held.carry(shape.delta)[:SKIN], axis=1)
        away = np.linalg.norm(target[:SKIN, None] - target[None, :SKIN], axis=2)
        beside = np.argsort(away, axis=1, kind="stable")[:, :24]
        assert (touched <= 1.5 * plain[beside].max(axis=1) + 1e-9).all(), shape.name


@pytest.mark.parametrize("way", WAYS)
def test_what_closes_and_what_was_held_back_is_told(way: Way) -> None:
    """A new opening twelve times the old one cannot be closed within the bounds: it says by how much."""
    old = exact(head(0))
    near, wide = neutral(9, wide=1.1), neutral(9, wide=1.1)
    near[LOWER] -= [0.0, 1.0, 0.0]
    wide[LOWER] -= [0.0, 22.0, 0.0]
    (closed,) = Carrier(old, near, way).carry_and_tell(old.shape("shut").delta)[1]
    assert closed.name == "the left lids" and closed.now_mm < 0.2 and closed.now_mm < 0.5 * closed.plain_mm
    told = Carrier(old, wide, way).carry_and_tell(old.shape("shut").delta)[1]
    assert not told or (told[0].short_mm > 5.0 and told[0].now_mm > 5.0)
    assert not Carrier(old, near, way).carry_and_tell(old.shape("look").delta)[1]
