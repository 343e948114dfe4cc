"""A target's file is compared with as a recipe is: the same pose, read from a file, gives the same pictures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.formats.mesh import mesh_of
from composer.formats.obj import write
from tests.window.hand import Hand


def compared(hand: Hand, how: str) -> np.ndarray:
    """What the view shows of a comparison in one way."""
    hand.click_on("Compare")
    hand.click_on(how)
    hand.key("Escape")
    hand.settle()
    return hand.view_picture().astype(int)


@pytest.mark.parametrize("way", ["menu", "dropped"])
def test_a_target_is_compared_with_as_another_recipe_is(open_demo: Hand, tmp_path: Path, way: str) -> None:
    hand, session = open_demo, open_demo.session
    file, ways = tmp_path / "scan_07.obj", ("Ghost", "Wipe", "Side by side")
    write(file, mesh_of(session.head, session.evaluated.pose(session.project.recipe("call")), unit=session.head.unit))
    hand.click_on("Compare")
    hand.click_on("compare with call")
    hand.key("Escape")
    by_recipe = [compared(hand, how) for how in ways]
    if way == "menu":
        hand.click_on("Compare")
        hand.click_on("compare with a file")
        hand.fill("sheet path", str(file))
        hand.key("Enter")
    else:
        hand.drop(file)
        hand.click_on("Compare with it dropped")
    hand.until(lambda: session.target is not None, "the target")
    hand.settle()
    assert hand.stage.compare.how == "side", "the way to look at both stays"
    hand.stage.words.clear()
    for how, seen in zip(ways, by_recipe, strict=True):
        again = compared(hand, how)
        assert again.shape == seen.shape
        away = np.abs(again - seen).max(axis=2)
        assert (away > 12).mean() < 0.02, f"{how} shows another face"  # thin hairs have many edges


def test_what_is_no_target_of_this_head_is_told(open_demo: Hand, library: Path) -> None:
    hand = open_demo
    hand.drop(library / "neutral.obj")
    hand.click_on("Compare with it dropped")
    hand.until(lambda: hand.wrong, "a fault")
    assert hand.session.target is None and hand.stage.compare.how == "off"
