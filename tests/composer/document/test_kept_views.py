"""Views that a document keeps: read, refused, written back, edited, and turned into cameras."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from composer.document.history import History
from composer.document.kept_view import KeptView
from composer.document.read import parse_document
from composer.document.step_words import step_words
from composer.document.store import open_document, save_document
from composer.document.text import document_text
from composer.edits.views import delete_view, free_view_name, keep_view, rename_view
from composer.errors import MoueError
from composer.picture.turntable import around
from composer.picture.views import VIEWS, axes_of, camera_of, kept_target, view_named, view_of_eye

TEXT = """moue = 1
head = "library"
[views."mouth, from below"]   # for the lip closing
around_deg = 24.0
above_deg = -32.0
middle = [0.0, -0.2, 0.45]
height = 0.3
[recipes.doubt]
cells = []
[views.whole]
"""
BOX = np.array([[-70.0, -150.0, -90.0], [80.0, 130.0, 100.0], [0.0, 0.0, 0.0]])


def read(text: str) -> None:
    parse_document(f'moue = 1\nhead = "library"\n{text}'.encode(), Path("document.toml"))


def test_views_are_read_and_written_back_in_their_order_and_with_their_comments() -> None:
    project = parse_document(TEXT.encode(), Path("document.toml"))
    mouth, whole = project.views
    assert mouth == KeptView("mouth, from below", 24.0, -32.0, 0.0, (0.0, -0.2, 0.45), 0.3)
    assert whole == KeptView("whole")
    assert document_text(project, Path()) == TEXT
    more = keep_view(project, KeptView("ear", 90.0, tilt_deg=10.0, height=0.25))
    text = document_text(more, Path())
    assert text.startswith(TEXT) and "# for the lip closing" in text
    assert parse_document(text.encode(), Path("document.toml")).views == more.views
    fewer = document_text(delete_view(more, "mouth, from below"), Path())
    assert [v.name for v in parse_document(fewer.encode(), Path("document.toml")).views] == ["whole", "ear"]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("[views.ear]\naround_deg = 181", "view 'ear' needs around_deg to be a number from -180 to 180, not 181"),
        ("[views.ear]\nabove_deg = 'up'", "view 'ear' needs above_deg to be a number, not 'up'"),
        ("[views.ear]\nheight = 0", "view 'ear' needs height to be a number from 0.001 to 100, not 0"),
        ("[views.ear]\nheight = nan", "needs height to be a number from 0.001 to 100, not nan"),
        ("[views.ear]\nmiddle = [0, 1]", "view 'ear' needs middle to be three numbers"),
        ("[views.ear]\nmiddle = [0, 1e6, 0]", "has a middle further than 50 sides of the head's box from the head"),
        ("[views.ear]\nangle = 3", "view 'ear' has an unknown key 'angle'"),
        ("[views.front]", "a view may not be named 'front'; every head has a view of that name"),
        ('[views." "]', "a view may not be named ' '; give it plain words"),
        ('[views."a\\nb"]', "a view may not be named 'a\\nb'"),
        (f"[views.{'x' * 81}]", "is too long"),
        ("views = 3", "needs views to be tables"),
    ],
)
def test_a_bad_view_is_one_line(table: str, words: str) -> None:
    with pytest.raises(MoueError) as told:
        read(table)
    assert words in str(told.value) and "\n" not in str(told.value) and "document.toml" in str(told.value)


def test_views_are_kept_renamed_deleted_and_undone() -> None:
    history = History(parse_document(TEXT.encode(), Path("document.toml")))
    history.apply(lambda p: keep_view(p, KeptView(free_view_name(p), 12.0)))
    assert [v.name for v in history.project.views][-1] == "view" and free_view_name(history.project) == "view_2"
    before = history.project
    history.apply(lambda p: rename_view(p, "view", "brow / left"))
    assert step_words(before, history.project) == "view view renamed brow / left"
    history.apply(lambda p: keep_view(p, KeptView("brow / left", 13.0)))
    assert [v.around_deg for v in history.project.views] == [24.0, 0.0, 13.0]
    for name in ("whole", "back", ""):
        with pytest.raises(MoueError):
            rename_view(history.project, "brow / left", name)
    with pytest.raises(MoueError, match="did you mean whole"):
        delete_view(history.project, "whol")
    for _ in range(3):
        history.undo()
    assert document_text(history.project, Path()) == TEXT


def test_a_view_is_saved_in_a_bare_document_and_in_a_moue_file(tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    (tmp_path / "document.toml").write_text(TEXT)
    project = open_document(tmp_path / "document.toml")
    for name in ("again.toml", "again.moue"):
        save_document(project, tmp_path / name)
        assert open_document(tmp_path / name).views == project.views


@pytest.mark.parametrize("turns", [(0.0, 0.0, 0.0), (36.0, 4.0, 0.0), (-120.0, 55.0, 25.0), (10.0, 90.0, -170.0)])
def test_a_kept_view_looks_from_where_its_angles_say(turns: tuple[float, float, float]) -> None:
    """Against scipy.spatial.transform.Rotation: about the head's y, then the eye's own x and z."""
    around_deg, above_deg, tilt_deg = turns
    view = KeptView("ear", around_deg, above_deg, tilt_deg, (0.5, -0.5, 0.0), 0.5)
    wanted = Rotation.from_euler("YXZ", [around_deg, -above_deg, tilt_deg], degrees=True).as_matrix().T
    np.testing.assert_allclose(axes_of(view), wanted, atol=1e-12)
    camera = camera_of(view, BOX[:1], (300, 200), neutral=BOX)
    diagonal = np.sqrt(150.0**2 + 280.0**2 + 190.0**2)
    target = np.array([80.0, -150.0, 5.0])  # by hand: the box's left, lowest side, half way from back to front
    edges = target + 0.25 * diagonal * np.array([[0.0], [1.0], [-1.0]]) * wanted[1]
    seen, _ = camera.project(edges)
    np.testing.assert_allclose(seen, [[150.0, 100.0], [150.0, 0.0], [150.0, 200.0]], atol=1e-9)
    grown = camera_of(view, BOX, (300, 200), neutral=2.5 * BOX)
    seen, _ = grown.project(2.5 * edges)
    np.testing.assert_allclose(seen, [[150.0, 100.0], [150.0, 0.0], [150.0, 200.0]], atol=1e-9)
    back = view_of_eye("ear", turns, *kept_target(view, BOX), BOX)
    assert back == view


def test_a_turn_begins_at_the_kept_view_and_goes_round_the_head() -> None:
    view = KeptView("ear", 60.0, 10.0, 5.0, (0.1, 0.0, 0.2), 0.4)
    first, second, *_ = around(BOX, view, 4, (200, 300), BOX)
    held = camera_of(view, BOX, (200, 300), neutral=BOX)
    np.testing.assert_allclose(first.eye, held.eye, atol=1e-9)
    np.testing.assert_allclose(first.axes, held.axes, atol=1e-12)
    quarter = Rotation.from_euler("y", 90.0, degrees=True)
    middle = 0.5 * (BOX.min(axis=0) + BOX.max(axis=0))
    np.testing.assert_allclose(second.eye, quarter.apply(held.eye - middle) + middle, atol=1e-9)


def test_a_view_is_found_by_name_among_those_of_the_document_and_of_every_head() -> None:
    kept = (KeptView("ear"), KeptView("mouth"))
    assert view_named("mouth", kept) is kept[1] and view_named("back", kept) == "back"
    with pytest.raises(MoueError, match="no view is named 'mout'; did you mean mouth"):
        view_named("mout", kept)
    assert set(VIEWS) == {"front", "three_quarter", "profile", "profile_right", "below", "back"}
