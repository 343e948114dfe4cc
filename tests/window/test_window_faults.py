"""What goes wrong is told in one line, and the window stays as it was; what is large or oddly named just works."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from composer.formats import npz
from composer.formats.mesh import mesh_of
from composer.head.head import Head, Shape
from composer.viewer.session.saving import save
from tests.window.dome import dome, write_dome
from tests.window.hand import Hand


def told_in_one_line(hand: Hand) -> str:
    """The one fault that stands at the foot of the window."""
    assert len(hand.wrong) == 1, hand.told
    line = hand.wrong[0]
    assert "\n" not in line and "Traceback" not in line and 10 < len(line) < 400
    return line


@pytest.mark.parametrize("what", ["noise.moue", "noise.glb", "noise.obj", "noise.npz", "words.toml", "missing.moue"])
def test_a_broken_file_is_told_and_the_window_stays_as_it_was(open_dome: Hand, tmp_path: Path, what: str) -> None:
    hand, session = open_dome, open_dome.session
    hand.stage.words.clear()
    hand.move(hand.stage.view[0] + 15, hand.stage.view[1] + hand.stage.view[3] - 20)
    hand.frames(30)
    eye, seen = hand.stage.eye, hand.view_picture()
    if what.startswith("noise"):
        (tmp_path / what).write_bytes(np.random.default_rng(5).bytes(4000))
    elif what.startswith("words"):
        (tmp_path / what).write_text("recipes = 3\nhead = [")
    hand.drop(tmp_path / what)
    if what.endswith(".obj"):  # it may be a target: what it is for is asked
        hand.click_on("Open it dropped")
    hand.until(lambda: hand.wrong)
    hand.settle()
    assert what in told_in_one_line(hand)
    assert hand.session is session and hand.stage.eye is eye
    hand.click_on("words wrong")
    assert not hand.wrong
    hand.move(hand.stage.view[0] + 15, hand.stage.view[1] + hand.stage.view[3] - 20)
    hand.frames(30)
    assert (hand.view_picture() != seen).mean() < 0.01


def test_a_folder_without_targets_is_told_on_the_welcome_page(hand: Hand, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    hand.drop(tmp_path / "empty")
    hand.until(lambda: hand.wrong)
    hand.settle()
    assert "empty" in told_in_one_line(hand)
    assert hand.stage.session is None and "Open the demo" in hand.seen


def test_the_window_works_on_when_its_folder_vanishes(hand: Hand, library: Path, tmp_path: Path) -> None:
    hand.open(library)
    delta = hand.session.head.shape("smile_left").delta
    vertex = int(np.argmax(np.linalg.norm(delta, axis=1)))
    shutil.rmtree(library)
    hand.drag_to_face("smile_left", vertex)
    hand.settle()
    assert len(hand.session.recipe.cells) == 1 and not hand.wrong
    assert np.abs(hand.session.evaluated.pose(hand.session.recipe) - hand.session.head.neutral).max() > 1
    hand.key("Ctrl+B")
    hand.fill("bake folder", str(tmp_path / "out"))
    hand.until(lambda: hand.window.panels.bake.plan)
    hand.frames(2)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written or hand.wrong)
    assert hand.window.panels.bake.written or told_in_one_line(hand)
    hand.click_on("Close bake")
    hand.stage.words.clear()
    save(hand.stage, tmp_path / "mine.moue")
    hand.until(lambda: not hand.session.unsaved or hand.wrong)
    assert not hand.wrong and (tmp_path / "mine.moue").is_file()


def test_a_document_whose_head_is_gone_is_told(hand: Hand, library: Path, tmp_path: Path) -> None:
    hand.open(library)
    save(hand.stage, tmp_path / "mine.moue")
    hand.until(lambda: hand.session.file is not None)
    session = hand.session
    shutil.rmtree(library)
    hand.stage.words.clear()
    hand.drop(tmp_path / "mine.moue")
    hand.until(lambda: hand.wrong)
    hand.settle()
    told_in_one_line(hand)
    assert hand.session is session


@pytest.mark.parametrize("name", ["表情を混ぜる", "é" * 60, "a name with  spaces & 100 %"])
def test_names_of_every_kind_open_mix_save_and_bake(hand: Hand, tmp_path: Path, name: str) -> None:
    head = dome(places={name: (30.0, -30.0), "chin": (0.0, -75.0)})
    hand.open(write_dome(tmp_path / name, head))
    hand.drag_to_face(name, int(np.argmax(np.linalg.norm(head.shape(name).delta, axis=1))))
    assert hand.session.recipe.cells[0].shape == name
    save(hand.stage, tmp_path / f"{name}.moue")
    hand.until(lambda: not hand.session.unsaved)
    hand.key("Ctrl+B")
    hand.fill("bake folder", str(tmp_path / "out"))
    hand.until(lambda: hand.window.panels.bake.plan)
    hand.frames(2)
    hand.click_on("Bake now")
    hand.until(lambda: hand.window.panels.bake.written)
    assert not hand.wrong


def test_long_names_stay_inside_their_places_and_too_long_ones_are_told(hand: Hand, tmp_path: Path) -> None:
    name = "long_" * 39 + "shape"
    assert len(name) == 200
    head = dome(places={name: (30.0, -30.0), "chin": (0.0, -75.0)})
    hand.open(write_dome(tmp_path / "long", head))
    hand.drag_to_face(name, int(np.argmax(np.linalg.norm(head.shape(name).delta, axis=1))))
    hand.double_click(*hand.middle(f"recipe {hand.session.recipe_name}"))
    hand.frames(3)
    hand.key("Ctrl+A")
    hand.text("r" * 200)
    hand.key("Enter")
    hand.settle()
    assert "fault of recipe name" in hand.seen and not hand.wrong and len(hand.session.recipe_name) < 200
    hand.key("Ctrl+A")
    hand.text("r" * 120)
    hand.key("Enter")
    hand.settle()
    assert hand.session.recipe_name == "r" * 120
    for control, (left, top, right, _) in hand.seen.items():
        assert left >= -1 and top >= -1 and right <= 1281, f"{control[:40]} reaches outside"
    save(hand.stage, tmp_path / ("d" * 180 + ".moue"))
    hand.until(lambda: not hand.stage.work.jobs)
    hand.frames(2)
    assert not hand.wrong


def many(count: int) -> Head:
    """The dome with so many shapes, each a small bump of its own."""
    rng = np.random.default_rng(7)
    places = {f"shape_{i:03d}": (float(rng.uniform(-60, 60)), float(rng.uniform(-80, 80))) for i in range(count)}
    return dome(places=places)


def test_three_hundred_shapes_are_seen_searched_and_mixed(hand: Hand, tmp_path: Path) -> None:
    head = many(300)
    hand.open(write_dome(tmp_path / "many", head))
    cards = [n for n in hand.seen if n.startswith("shape ")]
    assert 5 < len(cards) < 60, "only what is seen is drawn"
    assert len(hand.window.thumbs._made) < 80
    hand.fill("search shapes", "shape_287")
    hand.settle()
    assert [n for n in hand.seen if n.startswith("shape ")] == ["shape shape_287"]
    hand.drag_to_face("shape_287", int(np.argmax(np.linalg.norm(head.shape("shape_287").delta, axis=1))))
    assert [c.shape for c in hand.session.recipe.cells] == ["shape_287"]
    hand.click_on("Every shape")
    hand.settle()
    assert len(hand.window.panels.board.columns(hand.stage)) == 300
    columns = [n for n in hand.seen if n.startswith("column ")]
    assert 3 < len(columns) < 40, "only the columns that are seen are drawn"


def test_a_large_head_opens_and_is_seen(
    new_hand: Callable[..., Hand], tmp_path: Path
) -> None:
    small = dome(400, 400, places={})
    away = np.hypot(small.neutral[:, 0] - 30, small.neutral[:, 1] + 30)
    delta = (np.where(away < 28, 1 - away / 28, 0)[:, None] * [0.0, 6.0, 3.0]).astype(np.float32)
    head = Head("big", small.polygons, small.neutral, (Shape("smile", delta),))
    npz.write(tmp_path / "big.npz", mesh_of(head, shapes=True))
    hand = new_hand()
    hand.drop(tmp_path / "big.npz")
    hand.until(lambda: hand.stage.session is not None)
    hand.frames(5)
    assert hand.session.head.n_vertices == 160_000
    picture = hand.view_picture()
    assert picture[picture.shape[0] // 2, picture.shape[1] // 2].astype(int).sum() > 0
    assert picture.std() > 5
