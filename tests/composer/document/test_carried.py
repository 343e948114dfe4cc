"""The document of an old head opens on the new one, whole, or nothing is written."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.cli import carry as cli_carry
from composer.document.bake import bake
from composer.document.carried import MANIFEST, carry_document, carry_library
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_clip import evaluated_clip
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.project import Project
from composer.document.store import open_document, save_document
from composer.errors import MoueError
from composer.fitting.carry import Carrier
from composer.formats.library import open_library
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.levels import levels, refine
from tests.composer.document.carried_document import TURN, document_on_disk
from tests.composer.document.carried_document import fitted_head as fitted
from tests.composer.document.small_document import N, small_head


@pytest.fixture
def old(tmp_path: Path) -> EvaluatedDocument:
    return document_on_disk(tmp_path)


def as_the_carrier_gives(old: EvaluatedDocument, new: Head, name: str) -> np.ndarray:
    source = old.library.with_(parts=old.head.parts, landmarks=old.head.landmarks)
    return Carrier(source, new.neutral).carry(old.head.shape(name).delta)


def test_the_document_opens_on_the_new_head_with_everything(old: EvaluatedDocument, tmp_path: Path) -> None:
    new = fitted(tmp_path)
    project = carry_document(old, new, tmp_path / "new")
    evaluated = EvaluatedDocument.open(project)
    assert project.path == tmp_path / "new/clock.toml"
    assert [r.name for r in project.recipes] == [r.name for r in old.project.recipes]
    assert project.correctives == old.project.correctives
    np.testing.assert_allclose(evaluated.head.neutral, new.neutral, atol=1e-5)
    assert evaluated.head.shape_names == old.head.shape_names
    assert evaluated.head.shape("au1_left").inbetweens[0].at == 0.5
    for name in old.head.shape_names:
        want = as_the_carrier_gives(old, new, name)
        np.testing.assert_allclose(evaluated.head.shape(name).delta, want, atol=1e-3)
    for region in ("brow_left", "brow_right", "moving", "upper", "dots"):
        np.testing.assert_allclose(evaluated.raw[region], old.raw[region], atol=1e-6)
    assert evaluated.head.landmarks == old.head.landmarks
    assert [(p.name, p.follows, list(p.vertices)) for p in evaluated.head.parts] == [
        (p.name, p.follows, list(p.vertices)) for p in old.head.parts
    ]
    assert project.shapes["lift"] == {"marked": True}
    assert evaluated.project.unit == "cm"
    for recipe in project.recipes:
        assert np.isfinite(evaluated.pose(recipe)).all()
    for clip in project.clips:  # a clip's file came along
        before, after = (evaluated_clip(each, clip.name) for each in (old, evaluated))
        assert after.cells == before.cells and np.array_equal(after.weights, before.weights)
    assert project.clip("talk").file == "talk.csv" and (tmp_path / "new/talk.csv").is_file()


def test_targets_are_the_fitted_files_own_text(old: EvaluatedDocument, tmp_path: Path) -> None:
    carry_document(old, fitted(tmp_path), tmp_path / "new")
    for file in (tmp_path / "new/library").glob("*.obj"):
        assert file.read_text().startswith("# my own head\n")
    assert (tmp_path / "new/library/neutral.obj").read_bytes() == (tmp_path / "fitted.obj").read_bytes()


def test_a_hinge_turns_as_far_on_the_new_head(old: EvaluatedDocument, tmp_path: Path) -> None:
    from composer.document.hinges import settled

    kept, rigidities, _ = settled(old.project, old.head, old.hinges)
    save_document(kept, kept.path, rigidities)
    evaluated = EvaluatedDocument.open(
        carry_document(EvaluatedDocument.open(open_document(kept.path)), fitted(tmp_path), tmp_path / "new")
    )
    hinge = evaluated.hinges["drop"]
    assert abs(hinge.angle) == pytest.approx(abs(old.hinges["drop"].angle), rel=0.3)
    turned = TURN.apply(np.array(old.hinges["drop"].axis))
    assert abs(float(hinge.axis @ turned)) > 0.95


def test_detail_of_a_level_is_carried_and_a_finer_neutral_taken(old: EvaluatedDocument, tmp_path: Path) -> None:
    new = fitted(tmp_path)
    fine = refine(new.neutral, levels(new.polygons, 1))
    fine += np.random.default_rng(1).normal(0.0, 0.05, fine.shape)
    project = carry_document(old, new, tmp_path / "new", finer={1: fine})
    made = EvaluatedLevel(EvaluatedDocument.open(project), 1)
    np.testing.assert_allclose(made.head.neutral, fine, atol=1e-3)
    before, after = EvaluatedLevel(old, 1).detail, made.detail
    assert before is not None and after is not None
    scale = Carrier(old.library, new.neutral).likeness.scale
    one, two = before.of("lift"), after.of("lift")
    assert one is not None and two is not None
    np.testing.assert_allclose(two, scale * one, atol=2e-3)
    assert bake(EvaluatedDocument.open(project), tmp_path / "baked", project.recipes[:1], level=1)


def test_a_library_is_carried_under_its_own_names(old: EvaluatedDocument, tmp_path: Path) -> None:
    made = carry_library(old.library, fitted(tmp_path), tmp_path / "new", way="delta", ways={"lift": "frame"})
    again = open_library(tmp_path / "new")
    assert again.shape_names == old.library.shape_names == made.shape_names
    assert again.landmarks == old.library.landmarks
    frame = Carrier(old.library, made.neutral, "frame").carry(old.library.shape("lift").delta)
    np.testing.assert_allclose(made.shape("lift").delta, frame, atol=1e-4)


def test_a_second_carry_replaces_the_first_but_never_what_was_worked_on(old: EvaluatedDocument, tmp_path: Path) -> None:
    new, to = fitted(tmp_path), tmp_path / "new"
    carry_document(old, new, to, way="delta")
    carry_document(old, new, to, way="frame")
    assert (to / MANIFEST).is_file()
    target = to / "library/lift.obj"
    target.write_text(target.read_text() + "# mine\n")
    with pytest.raises(MoueError, match="library/lift.obj has been changed"):
        carry_document(old, new, to)
    assert target.read_text().endswith("# mine\n")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine/notes.txt").write_text("mine")
    with pytest.raises(MoueError, match="no carry"):
        carry_library(old.library, new, tmp_path / "mine")
    assert [file.name for file in (tmp_path / "mine").iterdir()] == ["notes.txt"]


def test_what_stops_half_way_leaves_nothing(old: EvaluatedDocument, tmp_path: Path) -> None:
    before = set(tmp_path.iterdir())
    new = fitted(tmp_path)

    def stop(fraction: float, words: str) -> None:
        if fraction > 0.7:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        carry_document(old, new, tmp_path / "new", progress=stop)
    assert set(tmp_path.iterdir()) == before | {tmp_path / "fitted.obj"}


@pytest.mark.parametrize("kind", ["count", "shuffled", "turned over"])
def test_another_topology_is_refused_with_how_it_differs(old: EvaluatedDocument, tmp_path: Path, kind: str) -> None:
    own = small_head().polygons
    quads = own.indices.reshape(-1, 4)
    order = np.random.default_rng(0).permutation(N)
    other = {"count": quads[:-1], "shuffled": order[quads], "turned over": quads[:, ::-1]}[kind]
    polygons = Polygons(np.full(len(other), 4), np.ascontiguousarray(other).ravel(), N)
    words = {"count": "polygons over the same", "shuffled": "shuffled", "turned over": "inside out"}[kind]
    with pytest.raises(MoueError, match=words) as told:
        carry_document(old, fitted(tmp_path, polygons), tmp_path / "new")
    assert "fitted.obj" in str(told.value) and "\n" not in str(told.value)
    assert not (tmp_path / "new").exists()


def test_an_unknown_shape_or_way_is_refused(old: EvaluatedDocument, tmp_path: Path) -> None:
    new = fitted(tmp_path)
    with pytest.raises(MoueError, match="no shape is named 'lfit'; did you mean lift"):
        carry_library(old.library, new, tmp_path / "new", ways={"lfit": "frame"})
    with pytest.raises(MoueError, match="no way 'up'"):
        carry_library(old.library, new, tmp_path / "new", ways={"lift": "up"})  # type: ignore[dict-item]


def test_landmarks_in_space_become_places_of_the_surface(old: EvaluatedDocument, tmp_path: Path) -> None:
    at = old.library.neutral[10] + 0.25 * (old.library.neutral[11] - old.library.neutral[10])
    marks = Landmarks({"pronasale": tuple(float(v) for v in at)})  # type: ignore[arg-type]
    new = fitted(tmp_path)
    made = carry_library(old.library.with_(landmarks=marks), new, tmp_path / "new")
    assert made.landmarks is not None
    want = new.neutral[10] + 0.25 * (new.neutral[11] - new.neutral[10])
    np.testing.assert_allclose(made.landmarks.position("pronasale", new.neutral), want, atol=1e-6)


def test_the_command_carries_a_document_and_pictures_three_ways(old: EvaluatedDocument, tmp_path: Path, capsys) -> None:  # type: ignore[no-untyped-def]
    fitted(tmp_path)
    sheet = tmp_path / "sheet.png"
    cli_carry.carry(old.project.path, tmp_path / "fitted.obj", tmp_path / "new", sheet=sheet, shape=["lift"],
                    shape_way=["drop=frame"], fitted_unit="cm")  # fmt: skip
    assert "6 shapes and the neutral" in capsys.readouterr().out
    assert sheet.read_bytes().startswith(b"\x89PNG")
    assert isinstance(open_document(tmp_path / "new/clock.toml"), Project)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"shape_way": ["lift"]}, "not SHAPE=WAY"),
        ({"shape": ["lift"]}, "add --sheet"),
        ({"unit": "cm"}, "leave those options out"),
        ({"sheet": Path("x.jpg")}, "ends in .png"),
        ({"sheet": Path("x.png"), "shape": ["lfit"]}, "did you mean lift"),
        ({"finer": "itself"}, "finer levels have"),
    ],
)
def test_options_that_make_no_sense_are_told_in_one_line(
    old: EvaluatedDocument, tmp_path: Path, options: dict, words: str
) -> None:
    fitted(tmp_path)
    if options.get("finer"):
        options = {"finer": [tmp_path / "fitted.obj"]}
    with pytest.raises(MoueError, match=words):
        cli_carry.carry(old.project.path, tmp_path / "fitted.obj", tmp_path / "new", **options)
    assert not (tmp_path / "new").exists()
