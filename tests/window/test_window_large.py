"""A large head in the window: its neutral first, all else beside it, and nothing lost where it never comes."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.arrival import HeadArrival
from composer.formats.mesh import mesh_of
from composer.formats.registry import write_mesh
from composer.head import coarse as coarse_level
from composer.head.head import Head, Shape
from composer.head.levels import head_at_level
from composer.picture.heat import mask_scale
from composer.viewer.render.camera import named_eye
from composer.viewer.render.look import Look
from composer.viewer.render.normals import Normals
from composer.viewer.render.picking import Picker
from composer.viewer.scene.overlay import Overlays, as_bytes
from composer.viewer.session import opening
from composer.viewer.session.session import Session
from tests.window.dome import dome, write_dome
from tests.window.hand import Hand


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> Head:
    """A dome that is taken for a large head, whose coarser level is one step coarser."""
    head = head_at_level(dome(16, 13), 2)
    monkeypatch.setattr(opening, "LOOK_FROM", head.n_vertices)
    monkeypatch.setattr(coarse_level, "LARGE", head.n_vertices)
    monkeypatch.setattr(coarse_level, "ENOUGH", head.n_vertices // 5)
    return head


def write_large(to: Path, form: str, head: Head) -> Path:
    """The head as a folder of OBJ files, or as one file of another format."""
    if form == "folder":
        return write_dome(to, head)
    write_mesh(to.with_suffix(form), mesh_of(head, shapes=True))
    return to.with_suffix(form)


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Opening waits, once the neutral is read, until this is set."""
    go = threading.Event()
    read = opening.open_library

    def waits(*given: object, told: HeadArrival, **named: object) -> Head:
        def then(head: Head) -> None:
            told.neutral(head)
            if head.n_vertices >= opening.LOOK_FROM:
                go.wait(60.0)

        return read(*given, told=HeadArrival(then, told.shape), **named)  # type: ignore[arg-type]

    monkeypatch.setattr(opening, "open_library", waits)
    yield go
    go.set()


@pytest.mark.parametrize("form", ["folder", ".npz", ".glb"])
def test_the_neutral_is_seen_while_the_shapes_are_read(
    form: str, large: Head, held: threading.Event, hand: Hand, tmp_path: Path
) -> None:
    hand.drop(write_large(tmp_path / "large", form, large))
    hand.until(lambda: hand.stage.session is not None)
    hand.frames(3)
    first = hand.session
    assert first.arriving and not first.head.shapes and first.head.n_vertices == large.n_vertices
    seen = hand.view_picture()
    assert seen[200:400, 200:400].std() > 4, "no head is to be seen"
    with pytest.raises(MoueError, match="still being read"):
        first.apply(lambda project: project.with_(recipes=()))
    hand.window.act("save")
    hand.stage.turn(hand.stage.eye.orbit(20.0, 0.0))
    eye = hand.stage.eye
    held.set()
    hand.until(lambda: not hand.session.arriving)
    hand.settle()
    assert hand.stage.eye is eye, "the eye that a person has turned stays"
    assert sorted(hand.session.head.shape_names) == sorted(large.shape_names) and len(hand.session.project.regions) > 2


@pytest.mark.parametrize("form", ["folder", ".npz"])
def test_shapes_are_seen_as_they_are_read(
    form: str, large: Head, hand: Hand, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading waits after two of five shapes: these two are in the tray, drawn on the coarser level; then all are."""
    go, read, seen = threading.Event(), opening.open_library, []

    def waits(*given: object, told: HeadArrival, **named: object) -> Head:
        def then(shape: Shape) -> None:
            told.shape(shape)
            seen.append(shape.name)
            if len(seen) == 2:
                go.wait(60.0)

        return read(*given, told=HeadArrival(told.neutral, then), **named)  # type: ignore[arg-type]

    monkeypatch.setattr(opening, "open_library", waits)
    monkeypatch.setattr(opening, "EVERY_SECONDS", 0.0)
    hand.drop(write_large(tmp_path / "large", form, large))
    hand.until(lambda: hand.stage.session is not None and len(hand.session.head.shapes) == 2)
    hand.until(lambda: not hand.window.thumbs.waiting)
    hand.frames(2)
    first = hand.session
    assert first.arriving and first.head.shape_names == seen and not first.project.regions
    assert all(hand.window.thumbs.of("shape", name) is not None for name in seen)
    go.set()
    hand.until(lambda: not hand.session.arriving)
    assert len(hand.session.head.shapes) == 5 and len(hand.session.project.regions) > 2 and not hand.wrong


@pytest.mark.parametrize("how", ["fails", "is cancelled"])
def test_what_was_open_comes_back_where_the_rest_never_comes(
    how: str, open_dome: Hand, large: Head, held: threading.Event, tmp_path: Path
) -> None:
    """The dome is open before opening waits: it is as large as what waits."""
    hand, before = open_dome, open_dome.session
    folder = write_dome(tmp_path / "large", large)
    (folder / "zygoma.obj").write_text("v 1 2 nothing\n", encoding="utf-8")
    hand.drop(folder)
    hand.until(lambda: hand.session is not before)
    assert hand.session.arriving
    if how == "is cancelled":
        for job in hand.stage.work.jobs:
            job.cancel()
    held.set()
    hand.until(lambda: hand.session is before)
    hand.settle()
    assert len(hand.wrong) == (how == "fails") and all("zygoma.obj" in words for words in hand.wrong)
    assert hand.stage.keeping is not None and hand.session.head.shape_names
    before.apply(lambda project: project.with_(recipes=()))


def test_a_large_head_moves_by_its_coarser_triangles_and_stands_by_its_own(
    large: Head, context: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both pictures show the same head: they differ where its outline is cut by longer edges, and nowhere else."""
    from composer.viewer.render import view3d

    monkeypatch.setattr(view3d, "QUICK_FROM", large.n_vertices)
    view, eye, size = view3d.View3D(), named_eye("front", large.neutral, (320, 320)), (320, 320)
    if not view.software:
        pytest.skip("a graphics card draws large heads as they are")
    positions = large.neutral.astype(np.float32)
    normals = Normals(large).all(positions)
    assert coarse_level.coarse_of(large.surface) is not None
    view.open(large)
    view.draw(positions, normals, Look(), eye, size, None)
    moving = view.pixels().astype(float)
    view.draw(positions, normals, Look(), eye, size, (0, 0), True)
    standing = view.pixels().astype(float)
    view.close()
    away = np.abs(moving - standing).max(axis=2)
    assert 0 < (away > 3).mean() < 0.05 and moving.std() > 10


def test_a_head_lit_at_its_vertices_looks_as_one_lit_at_every_pixel(
    context: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where vertices lie closer than pixels there is nothing between them to be lit otherwise (Gouraud 1971): within
    three steps of 255 inside its outline, with and without colours laid over."""
    from composer.viewer.render import view3d

    head = head_at_level(dome(31, 25), 2)
    positions = head.neutral.astype(np.float32)
    normals, eye, size = Normals(head).all(positions), named_eye("front", head.neutral, (150, 150)), (150, 150)
    cover = np.full((head.n_vertices, 4), (200, 40, 90, 120), dtype=np.uint8)
    view = view3d.View3D(samples=0)
    view.open(head)
    if not view.software:
        pytest.skip("a graphics card lights every pixel")
    for look in (Look(), Look(cover=cover)):
        pictures = []
        for least in (head.n_vertices, head.n_vertices + 1):
            monkeypatch.setattr(view3d, "QUICK_FROM", least)
            view.draw(positions, normals, replace(look), eye, size, None)
            pictures.append(view.pixels().astype(int))
            view.draw(positions, normals, look, eye.orbit(3.0, 0.0), size, None)
        away = np.abs(pictures[0] - pictures[1]).max(axis=2)
        assert np.quantile(away, 0.995) <= 3 and away.max() < 40 and pictures[0].std() > 10
    view.close()


def test_what_lies_under_the_pointer_is_found_by_way_of_the_coarser_level(large: Head) -> None:
    """The same place as by testing every triangle (Moeller and Trumbore 1997), from many sides, in a pose."""
    plain = Picker(large)
    assert coarse_level.coarse_of(large.surface) is not None
    quick = Picker(large)
    pose = (large.neutral + 2.0 * large.shapes[0].delta).astype(np.float32)
    rng, met = np.random.default_rng(4), 0
    for _ in range(60):
        aim = large.neutral[rng.integers(large.n_vertices)] + rng.normal(size=3) * 3.0
        origin = np.array([rng.uniform(-400, 400), rng.uniform(-300, 300), 500.0])
        one, other = (picker.pick(pose, origin, aim - origin) for picker in (plain, quick))
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            met += 1
            np.testing.assert_allclose(other.point, one.point, atol=1e-9)
            assert other.polygon == one.polygon
    assert met > 40


def test_a_dab_colours_what_it_touches_as_a_whole_mask_would_be(large: Head) -> None:
    overlays, rng = Overlays(), np.random.default_rng(2)
    mask = rng.uniform(size=large.n_vertices)
    overlays._heat_of(mask)
    dabbed = mask.copy()
    dabbed[50:90] = rng.uniform(size=40)
    assert np.array_equal(overlays._heat_of(dabbed), as_bytes(mask_scale().colours(dabbed)))
    assert np.array_equal(overlays._heat_of(mask), as_bytes(mask_scale().colours(mask)))


def test_normals_of_a_pose_in_motion_are_whole_once_it_stands(large: Head, tmp_path: Path) -> None:
    """Between, those of the coarser level stand at its vertices: of the same surface, so nearly the same."""
    from composer.edits.cells import set_cell
    from composer.edits.recipes import add_recipe
    from composer.mixing.recipe import ALL, Cell, Recipe

    opened = opening.open_path(write_dome(tmp_path / "large", large), lambda fraction, words: None)
    session = Session(opened)
    session.apply(lambda project: add_recipe(project, Recipe("one")))
    session.frame()
    cell = Cell(ALL, session.head.shape_names[0], 1.0)
    session.preview(lambda project: set_cell(project, "one", cell))
    moving = session.frame(quick=True)
    whole = Normals(session.head).all(moving.positions)
    level = coarse_level.coarse_of(session.head.surface)
    assert level is not None and moving.changed
    alike = np.einsum("ij,ij->i", moving.normals[level.vertices], whole[level.vertices])
    assert np.degrees(np.arccos(np.clip(alike, -1.0, 1.0))).max() < 12.0
    assert not np.array_equal(moving.normals, whole)
    standing = session.frame()
    assert standing.changed and np.array_equal(standing.normals, whole)
    assert not session.frame().changed
