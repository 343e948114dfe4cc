"""Another head takes the document's head's place in the window: one step, one undo, and the eye goes along."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.document.earlier_heads import GROUP
from composer.formats.mesh import mesh_of
from composer.formats.obj import write
from composer.viewer.session.pointing import look_up
from composer.viewer.session.swapping import make_neutral, swap_in
from tests.window.hand import Hand
from tests.window.test_window_new_head import marked_demo


def grown(evaluated, progress):  # type: ignore[no-untyped-def]
    """The head half as large again, broader, and somewhere else."""
    head = evaluated.head
    wide = head.neutral * [1.7, 1.4, 1.5] + [300.0, -80.0, 40.0]
    return head.with_(neutral=wide, shapes=(), neutral_file=None, path=None, notes=()), {}


def swapped(hand: Hand) -> None:
    library = hand.session.evaluated.library
    swap_in(hand.stage, "grown", grown)
    hand.until(lambda: hand.session.evaluated.library is not library, "the swap")
    hand.settle()


def test_a_head_in_a_file_is_swapped_in_from_the_sheet_about_the_head(open_dome: Hand, tmp_path: Path) -> None:
    hand = open_dome
    session, library = hand.session, hand.session.evaluated.library
    new, _ = grown(session.evaluated, None)
    write(tmp_path / "kin.obj", mesh_of(new, unit="mm"))
    hand.click_on("title")
    hand.frames(3)
    hand.click_on("about swap")
    hand.frames(3)
    assert hand.stage.dialogs.path_for is not None
    _, _, take = hand.stage.dialogs.path_for
    hand.stage.dialogs.path_for = None
    take(tmp_path / "kin.obj")
    hand.until(lambda: session.evaluated.library is not library, "the swap")
    hand.settle()
    np.testing.assert_allclose(session.head.neutral, new.neutral, atol=1e-3)
    assert "kin" in str(session.project.head_path)
    hand.key("Ctrl+Z")
    hand.frames(2)
    assert session.evaluated.library is library


def middle(hand: Hand) -> np.ndarray:
    """The middle of what lies under the middle of the view: on the head, wherever it stands."""
    left, top, wide, high = hand.stage.view
    hit = look_up(hand.stage, left + wide / 2, top + high / 2)
    assert hit is not None
    return np.asarray(hit.point)


def test_a_swap_is_one_step_and_one_undo(open_dome: Hand) -> None:
    hand = open_dome
    session, before = hand.session, hand.session.head.neutral.copy()
    project, pose = session.history.committed, session.positions().copy()
    swapped(hand)
    assert hand.session is session and session.history.before is project
    assert session.project.recipes == project.recipes
    np.testing.assert_allclose(session.head.neutral, before * [1.7, 1.4, 1.5] + [300.0, -80.0, 40.0], atol=1e-3)
    assert middle(hand)[0] > 200.0
    hand.key("Ctrl+Z")
    hand.frames(2)
    np.testing.assert_array_equal(session.positions(), pose)
    assert session.project is project and abs(middle(hand)[0]) < 100.0
    hand.key("Ctrl+Shift+Z")
    hand.frames(2)
    assert session.head.neutral[:, 0].mean() > 200.0 and session.unsaved


def test_the_head_before_stands_in_the_tray_in_a_group_of_its_own_and_a_recipe_of_it_becomes_the_head(
    open_dome: Hand,
) -> None:
    hand = open_dome
    first = hand.session.head.neutral.copy()
    swapped(hand)
    (name,) = hand.session.project.earlier
    hand.click_on(f"group {GROUP}")
    assert hand.window.panels.tray.names(hand.stage) == [name]
    from composer.edits.recipes import add_recipe
    from composer.mixing.recipe import Cell, Recipe

    assert hand.stage.do(lambda p: add_recipe(p, Recipe("kin", (Cell("all", name, 1.0),))))
    library = hand.session.evaluated.library
    make_neutral(hand.stage, "kin")
    hand.until(lambda: hand.session.evaluated.library is not library, "the swap")
    hand.settle()
    head = hand.session.head
    ratio = np.ptp(head.neutral[head.skin], axis=0) / np.ptp(first[head.skin], axis=0)
    np.testing.assert_allclose(ratio, ratio[0], rtol=1e-3)  # the first head's own form, at the size of the second
    assert len(hand.session.project.earlier) == 2


def test_an_edit_made_meanwhile_is_kept_and_the_swap_told_to_be_repeated(open_dome: Hand) -> None:
    from composer.edits.recipes import add_recipe
    from composer.mixing.recipe import Recipe

    hand = open_dome
    library = hand.session.evaluated.library
    swap_in(hand.stage, "grown", grown)
    hand.stage.do(lambda p: add_recipe(p, Recipe("meanwhile")))
    hand.settle()
    assert hand.session.evaluated.library is library
    assert "meanwhile" in [recipe.name for recipe in hand.session.project.recipes]
    assert any("Swap again" in words.text for words in hand.stage.words)


def test_a_fit_is_swapped_in_from_the_new_heads_room(hand: Hand, own_small_demo: Path, tmp_path: Path) -> None:
    hand.open(own_small_demo)
    marked_demo(hand, tmp_path)
    session, new = hand.session, hand.stage.new_head
    project, recipe = session.history.committed, session.recipe
    hand.click_on("finer levels")
    hand.click_on("Fit now")
    hand.until(lambda: hand.window.panels.fitting.fitted is not None, "the fit")
    hand.settle()
    cage, library = new.cage.copy(), session.evaluated.library
    hand.click_on("Swap in")
    hand.until(lambda: session.evaluated.library is not library, "the swap")
    hand.settle()
    np.testing.assert_allclose(session.head.neutral, cage, atol=1e-3)
    assert hand.stage.place == "mix" and session.recipe == recipe
    assert len(session.project.recipes) == len(project.recipes)
    assert [each.name for each in session.project.regions] == [each.name for each in project.regions]
    hand.key("Ctrl+Z")
    hand.frames(2)
    assert session.project is project and session.evaluated.library is library
