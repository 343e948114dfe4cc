"""Another head takes the place of a document's head: what hangs on the topology stays, and the way back is whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import composer
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.store import open_document, save_document
from composer.edits.neutral_of_recipe import expressions_in, neutral_of_recipe
from composer.edits.recipes import add_recipe
from composer.edits.swap_head import HEADS, swap_head
from composer.errors import MoueError
from composer.fitting.carry import Carrier
from composer.head.levels import levels, refine
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.carried_document import document_on_disk, fitted_head
from tests.composer.document.small_document import N


@pytest.fixture
def old(tmp_path: Path) -> EvaluatedDocument:
    return document_on_disk(tmp_path)


def files(folder: Path) -> dict[str, bytes]:
    return {str(file): file.read_bytes() for file in sorted(folder.rglob("*")) if file.is_file()}


def test_what_hangs_on_the_topology_stays_and_the_library_is_carried(old: EvaluatedDocument, tmp_path: Path) -> None:
    new = fitted_head(tmp_path)
    swapped = swap_head(old, new, name="ferrier")
    made = swapped.evaluated
    assert swapped.folder == tmp_path / "old" / HEADS / "ferrier"
    assert swapped.project.path == old.project.path
    assert swapped.project.recipes == old.project.recipes
    assert swapped.project.correctives == old.project.correctives
    assert made.head.landmarks == old.head.landmarks
    assert [r.name for r in swapped.project.regions] == [r.name for r in old.project.regions]
    for region in ("brow_left", "brow_right", "moving", "upper", "dots"):
        np.testing.assert_allclose(made.raw[region], old.raw[region], atol=1e-6)
    np.testing.assert_allclose(made.head.neutral, new.neutral, atol=1e-5)
    source = old.library.with_(parts=old.head.parts, landmarks=old.head.landmarks)
    for name in old.library.shape_names:
        if name in made.head.shape_index:
            want = Carrier(source, new.neutral).carry(old.library.shape(name).delta)
            np.testing.assert_allclose(made.head.shape(name).delta, want, atol=1e-3)
    assert swapped.kept.startswith("6 shapes, ")
    assert "1 corrective" in swapped.kept


def test_what_does_not_stay_is_listed(old: EvaluatedDocument, tmp_path: Path) -> None:
    said = "\n".join(swap_head(old, fitted_head(tmp_path)).changed)
    assert "Regions moving, upper: " in said, "made of the old head's motion and of a group the new head lacks"
    assert "Level 1: the new head has no detail of its own there" in said
    assert "Hinges are those of the new head: drop" in said
    assert "brow_left" not in said and "doubt" not in said


def test_saved_and_opened_again_it_is_the_same_and_the_old_head_is_an_earlier_one(
    old: EvaluatedDocument, tmp_path: Path
) -> None:
    swapped = swap_head(old, fitted_head(tmp_path), name="ferrier")
    save_document(swapped.project, old.project.path)
    opened = EvaluatedDocument.open(open_document(old.project.path))
    recipe = opened.project.recipe("doubt")
    np.testing.assert_allclose(opened.pose(recipe), swapped.evaluated.pose(recipe), atol=1e-4)
    (name,) = opened.project.earlier
    shape = opened.head.shape(name)
    assert shape.is_head
    assert not opened.notes or not any("left out" in note for note in opened.notes)


def test_the_old_heads_files_are_never_touched_and_the_old_project_still_opens(
    old: EvaluatedDocument, tmp_path: Path
) -> None:
    before = files(tmp_path / "old")
    pose = old.pose(old.project.recipe("doubt"))
    swapped = swap_head(old, fitted_head(tmp_path))
    after = files(tmp_path / "old")
    assert {place: after[place] for place in before} == before
    save_document(swapped.project, old.project.path)
    save_document(old.project, old.project.path)
    again = EvaluatedDocument.open(open_document(old.project.path))
    np.testing.assert_array_equal(again.pose(again.project.recipe("doubt")), pose)


def test_a_finer_neutral_of_the_new_head_is_worn_by_every_pose(old: EvaluatedDocument, tmp_path: Path) -> None:
    new = fitted_head(tmp_path)
    fine = refine(new.neutral, levels(new.polygons, 1))
    relief = np.random.default_rng(3).normal(0.0, 0.05, fine.shape)
    swapped = swap_head(old, new, finer={1: fine + relief})
    level = EvaluatedLevel(swapped.evaluated, 1)
    np.testing.assert_allclose(level.head.neutral, fine + relief, atol=1e-3)
    assert not any(line.startswith("Level 1") for line in swapped.changed)


def test_another_topology_leaves_nothing_behind(old: EvaluatedDocument, tmp_path: Path) -> None:
    with pytest.raises(MoueError):
        swap_head(old, old.library.with_(neutral=old.library.neutral * [-1.0, 1.0, 1.0]))
    assert not (tmp_path / "old" / HEADS).exists()


def test_what_stops_half_way_leaves_nothing(old: EvaluatedDocument, tmp_path: Path) -> None:
    for at in (0.6, 0.95):

        def stop(fraction: float, words: str, at: float = at) -> None:
            if fraction > at:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            swap_head(old, fitted_head(tmp_path), progress=stop)
        assert not list((tmp_path / "old" / HEADS).glob("*"))


def test_two_heads_of_one_name_get_two_folders_and_both_stay_known(old: EvaluatedDocument, tmp_path: Path) -> None:
    first = swap_head(old, fitted_head(tmp_path), name="ferrier")
    second = swap_head(first.evaluated, fitted_head(tmp_path), name="ferrier")
    assert second.folder.name == "ferrier_2"
    assert len(second.project.earlier) == 2


@settings(max_examples=8, deadline=None)
@given(st.floats(-40, 40), st.floats(0.7, 1.4), st.integers(0, 2**31))
def test_a_recipe_of_an_earlier_head_whole_is_that_heads_skin_however_it_stood(
    tmp_path_factory: pytest.TempPathFactory, degrees: float, scale: float, seed: int
) -> None:
    """The similarity that lays an earlier head over the neutral undoes any other one before it."""
    from composer.document.earlier_heads import laid_over

    folder = tmp_path_factory.mktemp("swap")
    old = document_on_disk(folder)
    rng = np.random.default_rng(seed)
    other = old.head.neutral + rng.normal(0.0, 1.0, (N, 3))
    moved = scale * Rotation.from_euler("zyx", [degrees, 10, 5], degrees=True).apply(other) + rng.normal(0, 50, 3)
    np.testing.assert_allclose(laid_over(moved, old.head), laid_over(other, old.head), atol=1e-6)


def test_a_recipe_becomes_the_neutral_and_its_parts_move_as_one_piece(old: EvaluatedDocument, tmp_path: Path) -> None:
    swapped = swap_head(old, fitted_head(tmp_path), name="ferrier")
    (earlier,) = swapped.project.earlier
    half = Recipe("half", (Cell("all", earlier, 0.5), Cell("upper", earlier, 0.4)))
    evaluated = swapped.evaluated.again(add_recipe(swapped.project, half))
    new, finer = neutral_of_recipe(evaluated, "half")
    skin = evaluated.head.skin
    np.testing.assert_allclose(new.neutral[skin], evaluated.pose(half)[skin], atol=1e-9)
    tooth = evaluated.head.part("tooth").vertices
    before, after = evaluated.head.neutral[tooth], new.neutral[tooth]
    ratio = np.linalg.norm(after[0] - after[1]) / np.linalg.norm(before[0] - before[1])
    assert 0.6 < ratio < 1.4
    assert set(finer) == {1}
    again = swap_head(evaluated, new, finer=finer)
    assert [r.name for r in again.project.recipes][-1] == "half"
    np.testing.assert_allclose(again.evaluated.head.neutral, new.neutral, atol=1e-5)
    assert expressions_in(evaluated, "half") == []
    assert expressions_in(evaluated, "doubt") == ["lift", "au1_left", "drop"]


def test_a_recipe_that_moves_no_skin_gives_no_head(old: EvaluatedDocument) -> None:
    with pytest.raises(MoueError, match="leaves the skin as it is"):
        neutral_of_recipe(old, "wait")


def test_a_swap_from_python_is_the_same_swap(old: EvaluatedDocument, tmp_path: Path) -> None:
    new = fitted_head(tmp_path)
    made = composer.swap(old, new, name="ferrier")
    np.testing.assert_allclose(made.head.neutral, new.neutral, atol=1e-3)
    assert made.project.recipes == old.project.recipes and len(made.project.earlier) == 1
    (name,) = made.project.earlier
    kin = composer.add_recipe(made, Recipe("kin", (Cell("all", name, 1.0),)))
    back = composer.swap(kin, recipe="kin")
    np.testing.assert_allclose(back.head.neutral, neutral_of_recipe(kin, "kin")[0].neutral, atol=1e-3)
    assert np.abs(back.head.neutral - made.head.neutral).max() > 1.0  # so it is another head
    for wrong in ({}, {"fitted": new, "recipe": "kin"}):
        with pytest.raises(MoueError, match="give one of the two"):
            composer.swap(made, **wrong)
