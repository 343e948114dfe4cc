"""The laws of clips: curves as scipy's, a key is its recipe's pose, weights add, rows of other kinds lead on."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import EvaluatedClip
from composer.errors import MoueError
from composer.formats.weight_track import WeightTrack
from composer.mixing.alike_rows import alike_rows
from composer.mixing.clip import Clip, Key, frame_times
from composer.mixing.curve import curve_of_keys, curve_of_track
from composer.mixing.linear import Mixer
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.document.small_document import small_head, small_project
from tests.laws.test_law_joining import random_recipe
from tests.small_heads import grid, random_head, random_masks

seeds = st.integers(0, 2**32 - 1)
law = settings(deadline=None, max_examples=40)


def some_keys(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return np.cumsum(rng.uniform(0.05, 1.0, count)), rng.uniform(-1.0, 2.0, count)


@law
@given(seeds, st.integers(2, 9))
def test_smooth_keys_are_the_monotone_cubic(seed: int, count: int) -> None:
    # Fritsch and Carlson 1980, "Monotone Piecewise Cubic Interpolation"; scipy.interpolate.PchipInterpolator
    times, values = some_keys(seed, count)
    asked = np.linspace(times[0], times[-1], 101)
    curve = curve_of_keys(times.tolist(), values.tolist(), ["smooth"] * count)
    np.testing.assert_allclose(curve.at(asked), PchipInterpolator(times, values)(asked), atol=1e-12)
    for one, other, piece in zip(values, values[1:], zip(times, times[1:], strict=False), strict=False):
        inside = curve.at(np.linspace(*piece, 33))
        assert inside.min() >= min(one, other) - 1e-12 and inside.max() <= max(one, other) + 1e-12


@law
@given(seeds, st.integers(2, 9))
def test_linear_and_held_keys(seed: int, count: int) -> None:
    times, values = some_keys(seed, count)
    asked = np.concatenate([np.linspace(times[0] - 1.0, times[-1] + 1.0, 101), times])
    straight = curve_of_keys(times.tolist(), values.tolist(), ["linear"] * count).at(asked)
    np.testing.assert_allclose(straight, np.interp(asked, times, values), atol=1e-12)
    held = curve_of_keys(times.tolist(), values.tolist(), ["hold"] * count).at(asked)
    before = np.clip(np.searchsorted(times, asked, side="right") - 1, 0, count - 1)
    np.testing.assert_array_equal(held, values[before])


def test_each_run_of_smooth_keys_is_a_curve_of_its_own() -> None:
    times, values = [0.0, 1.0, 2.5, 3.0, 4.0, 6.0], [0.0, 0.4, 1.0, 0.2, 0.9, 0.0]
    curve = curve_of_keys(times, values, ["smooth", "smooth", "linear", "smooth", "smooth", "hold"])
    for run in (slice(0, 3), slice(3, 6)):
        asked = np.linspace(times[run][0], times[run][-1], 50)
        np.testing.assert_allclose(curve.at(asked), PchipInterpolator(times[run], values[run])(asked), atol=1e-12)
    np.testing.assert_allclose(curve.at(2.75), 0.6)


@law
@given(seeds, st.integers(2, 6))
def test_a_cubic_track_is_the_hermite_spline(seed: int, count: int) -> None:
    times, values = some_keys(seed, count)
    slopes = np.random.default_rng(seed).normal(size=count)
    asked = np.linspace(times[0], times[-1], 57)
    curve = curve_of_track(WeightTrack("a", times, values, "cubic", slopes, slopes))
    np.testing.assert_allclose(curve.at(asked), CubicHermiteSpline(times, values, slopes)(asked), atol=1e-11)


@law
@given(st.integers(1, 400), st.sampled_from([1.0, 12.0, 24.0, 25.0, 30.0, 60.0, 23.976]))
def test_frames_hold_both_ends(count: int, fps: float) -> None:
    times = frame_times(count / fps, fps)
    assert len(times) == count + 1 and times[0] == 0.0 and times[-1] == count / fps
    np.testing.assert_allclose(np.diff(times), 1.0 / fps, atol=1e-9)


@law
@given(seeds, st.integers(1, 4))
def test_recipes_with_alike_rows_give_the_same_poses(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    head = random_head(rng, grid(4, 4), shapes=3)
    masks = random_masks(rng, head.n_vertices, ["brow", "mouth", "jaw", "remainder"])
    crowd = np.maximum(1.0, np.sum(list(masks.values()), axis=0))
    mixer = Mixer(head, {name: mask / crowd for name, mask in masks.items()})
    recipes = [random_recipe(rng, head).with_(strength=1.0) for _ in range(count)]
    alone = ("mouth", "shape_1", False)
    alike = alike_rows(recipes, [alone] if seed % 2 else [])
    for recipe, weights in zip(recipes, alike.weights, strict=False):
        total = sum_of(mixer, {**{key: 0.0 for one in alike.weights for key in one}, **weights}, alike.rows)
        np.testing.assert_allclose(total, mixer.displacement(recipe), atol=1e-9 * head.diagonal)
    if seed % 2:
        single = mixer.displacement(Recipe("alone", (Cell(*alone[:2], 1.0),)))
        np.testing.assert_allclose(sum_of(mixer, alike.weights[-1], alike.rows), single, atol=1e-9 * head.diagonal)


def sum_of(mixer: Mixer, weights: dict, rows: dict) -> np.ndarray:
    """The displacement of weights that may lie outside a recipe's range."""
    largest = max([1.0, *(abs(w) for w in weights.values())])
    cells = tuple(Cell(*key[:2], w / largest, key[2]) for key, w in weights.items())
    return largest * mixer.displacement(Recipe("sum", cells, rows))


def test_one_recipe_keeps_its_own_rows() -> None:
    recipe = Recipe("a", (Cell("brow", "x", 0.5), Cell("all", "y", 1.0)), {"brow": Row("replace", 0.3)})
    alike = alike_rows([recipe, Recipe("rest")])
    assert alike.rows == recipe.rows and alike.weights[0] == {cell.key: cell.weight for cell in recipe.cells}


def evaluated() -> EvaluatedDocument:
    project = small_project()
    return EvaluatedDocument(project, small_head()).again(project)


def test_at_a_key_a_frame_is_the_recipes_pose_bit_for_bit() -> None:
    document = evaluated()
    for name in ("doubt", "call"):  # a hinge, a replacing row, a strength that is not 1
        keys = (Key(0.0, "neutral"), Key(0.5, name, interpolation="smooth"), Key(0.8, name), Key(1.0, "neutral"))
        clip = EvaluatedClip(document, Clip("c", 10.0, 1.0, keys))
        recipe = document.project.recipe(name)
        for time in (0.5, 0.6, 0.8):
            np.testing.assert_array_equal(clip.pose(time), document.pose(recipe))
        np.testing.assert_array_equal(clip.pose(0.0), document.head.neutral)
        np.testing.assert_allclose(clip.pose(0.25), document.pose(recipe.scaled(0.5)), atol=1e-12)
        np.testing.assert_allclose(clip.pose(0.9), document.pose(recipe.scaled(0.5)), atol=1e-9)


def test_weights_of_recipes_and_cells_add() -> None:
    document = evaluated()
    straight = document.again(document.project.with_(shapes={}))  # no hinge: what is linear adds exactly
    keys = (
        Key(0.0, "doubt", 0.0), Key(1.0, "doubt", 0.5), Key(0.0, "call", 1.0),
        Key(0.0, region="brow_left", shape="skew", weight=0.0), Key(1.0, region="brow_left", shape="skew", weight=0.3),
    )  # fmt: skip
    clip = EvaluatedClip(straight, Clip("c", 10.0, 1.0, keys))
    cell = Recipe("cell", (Cell("brow_left", "skew", 0.3),))
    parts = [(straight.project.recipe("doubt"), 0.5), (straight.project.recipe("call"), 1.0), (cell, 1.0)]
    neutral = straight.head.neutral
    expected = neutral + sum(share * (straight.pose(recipe) - neutral) for recipe, share in parts)
    np.testing.assert_allclose(clip.pose(1.0), expected, atol=1e-9)
    assert clip.straight and not EvaluatedClip(document, Clip("c", 10.0, 1.0, keys)).straight


@pytest.mark.parametrize("join", ["linear", "seamless"])
def test_a_clip_moves_without_jumps(join: str) -> None:
    document = evaluated()
    keys = (Key(0.0, "doubt"), Key(0.5, "neutral"), Key(1.0, "call"))
    clip = EvaluatedClip(document, Clip("c", 24.0, 1.0, keys, join=join))  # type: ignore[arg-type]
    fine = [clip.pose(t) for t in np.linspace(0.0, 1.0, 101)]
    steps = [np.abs(b - a).max() for a, b in zip(fine, fine[1:], strict=False)]
    whole = max(np.abs(pose - document.head.neutral).max() for pose in fine)
    assert max(steps) < 0.1 * whole  # a path in 100 steps; a jump would be a good part of the whole


def test_a_mirrored_key_gets_its_mirror_map() -> None:
    document = evaluated()
    key = Key(0.0, region="all", shape="au1_left", weight=1.0, mirrored=True)
    project = document.project.with_(clips=(Clip("c", 10.0, 1.0, (key,)),))
    clip = EvaluatedClip(document, project.clips[0])
    mirrored = Recipe("m", (Cell("all", "au1_left", 1.0, True),))
    expected = document.again(document.project.with_(recipes=(mirrored,))).pose(mirrored)
    np.testing.assert_array_equal(clip.pose(0.5), expected)
    np.testing.assert_array_equal(EvaluatedClip(document.again(project), project.clips[0]).pose(0.5), expected)


def test_what_a_key_names_has_to_be_there() -> None:
    for key, words in (
        (Key(0.0, "doubd"), "clip c: no recipe is named 'doubd'; did you mean doubt"),
        (Key(0.0, region="brow_lft", shape="lift", weight=1.0), "clip c: no region is named 'brow_lft'; did you mean"),
        (Key(0.0, region="all", shape="lft", weight=1.0), "clip c: no shape is named 'lft'; did you mean lift"),
    ):
        with pytest.raises(MoueError, match=words):
            EvaluatedClip(evaluated(), Clip("c", 10.0, 1.0, (key,)))


def test_weights_that_add_up_beyond_their_range_are_told() -> None:
    keys = (Key(0.0, "doubt"), Key(0.0, "doubt", 2.0), Key(0.0, region="brow_left", shape="au1_left", weight=1.5))
    with pytest.raises(MoueError, match=r"weight .* of brow_left x au1_left at 0 s is not in \[-1, 2\]"):
        EvaluatedClip(evaluated(), Clip("c", 10.0, 1.0, keys))
