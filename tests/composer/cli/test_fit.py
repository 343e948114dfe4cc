"""`moue fit` and `moue carry` as a person types them: keeper's library onto a grown copy of its own head."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
import typer

from composer.cli.carry import carry
from composer.cli.fit import fit
from composer.demo.write import write_library
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import read_only
from composer.head.head import Head
from composer.head.landmarks import read_landmark_pairs
from tests.demo_heads import library
from tests.window.test_window_new_head import PLACED, write_sculpt


@pytest.fixture(scope="module")
def keeper(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Head]:
    head = library(shapes=("joy", "au26"))
    folder = tmp_path_factory.mktemp("keeper") / "keeper"
    write_library(folder, head)
    return folder, head


@pytest.fixture(scope="module")
def fitted(keeper: tuple[Path, Head], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, np.ndarray]:
    folder = tmp_path_factory.mktemp("fit")
    sculpt, true = write_sculpt(folder / "sculpts", keeper[1])
    marks = sculpt.with_name("grown.landmarks.toml")
    fit(keeper[0], sculpt, marks, folder / "out", guess=True, level=1, no_pictures=True)
    return folder / "out", true


def test_a_fit_lies_where_the_grown_head_does(fitted: tuple[Path, np.ndarray], keeper: tuple[Path, Head]) -> None:
    folder, true = fitted
    mesh = trimesh.load(folder / "fitted.obj", process=False, maintain_order=True)
    skin = keeper[1].skin
    assert np.median(np.linalg.norm(np.asarray(mesh.vertices) - true, axis=1)[skin]) < 1.5
    report = json.loads((folder / "report.json").read_text())
    assert report["reversed_faces"] == report["folded_faces"] == 0 and report["distance"]["median"] < 0.5
    assert (folder / "fitted_level1.obj").is_file() and (folder / "landmarks.toml").is_file()


def test_where_other_landmarks_came_to_lie_is_written_for_a_second_fit(
    fitted: tuple[Path, np.ndarray], keeper: tuple[Path, Head], tmp_path: Path
) -> None:
    folder, true = fitted
    marks = keeper[1].landmarks
    assert marks is not None
    sculpt = folder.parent / "sculpts" / "grown.obj"
    mesh = trimesh.load(sculpt, process=False, maintain_order=True)
    _, theirs = read_landmark_pairs(folder / "guessed.toml")
    assert len(theirs.points) > 40 > len(PLACED)
    away = [np.linalg.norm(theirs.position(name, np.asarray(mesh.vertices)) - marks.position(name, true))
            for name in theirs.points]  # fmt: skip
    assert np.median(away) < 1.5
    fit(keeper[0], sculpt, folder / "guessed.toml", tmp_path / "again", level=0, no_pictures=True)
    assert not (tmp_path / "again" / "guessed.toml").exists()


def test_the_library_is_carried_onto_it(
    fitted: tuple[Path, np.ndarray], keeper: tuple[Path, Head], tmp_path: Path
) -> None:
    carry(keeper[0], fitted[0] / "fitted.obj", tmp_path / "grown")
    carried = open_library(tmp_path / "grown")
    assert carried.shape_names == open_library(keeper[0]).shape_names
    old, new = keeper[1].shape("au26").delta, carried.shape("au26").delta
    assert 0.8 < np.linalg.norm(new, axis=1).max() / np.linalg.norm(old, axis=1).max() < 1.3


def test_two_landmarks_are_too_few_and_nothing_is_written(keeper: tuple[Path, Head], tmp_path: Path) -> None:
    sculpt, _ = write_sculpt(tmp_path / "sculpts", keeper[1])
    marks = tmp_path / "two.toml"
    marks.write_text("[points.pronasale]\nsculpt = 4\n[points.gnathion]\nsculpt = 90\n")
    with pytest.raises(MoueError, match="2 "):
        fit(keeper[0], sculpt, marks, tmp_path / "out", no_pictures=True)
    assert not (tmp_path / "out").exists()


def test_a_mirrored_fitted_head_is_refused(
    fitted: tuple[Path, np.ndarray], keeper: tuple[Path, Head], tmp_path: Path
) -> None:
    mesh = read_mesh(fitted[0] / "fitted.obj")
    write_mesh(tmp_path / "mirrored.obj", replace(mesh, positions=mesh.positions * (-1.0, 1.0, 1.0)))
    with pytest.raises(MoueError, match="mirrored as a whole") as refused:
        carry(keeper[0], tmp_path / "mirrored.obj", tmp_path / "grown")
    assert refused.value.where == tmp_path / "mirrored.obj" and not (tmp_path / "grown").exists()


def test_a_reach_that_is_no_length_is_told_before_the_work(
    keeper: tuple[Path, Head], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("composer.fitting.stages.fit", lambda *_, **__: pytest.fail("the bend began"))
    sculpt, _ = write_sculpt(tmp_path / "sculpts", keeper[1])
    for reach in (0.0, float("nan")):
        with pytest.raises(MoueError, match="leaves nothing to project"):
            fit(keeper[0], sculpt, sculpt.with_name("grown.landmarks.toml"), tmp_path / "out", reach=reach)


def test_faces_left_turned_over_end_with_one_and_few_landmarks_are_told(
    keeper: tuple[Path, Head], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sculpt, _ = write_sculpt(tmp_path / "sculpts", keeper[1])
    said = tomllib.loads(sculpt.with_name("grown.landmarks.toml").read_text())["points"]
    names = ("pronasale", "gnathion", "exocanthion_left", "exocanthion_right")
    marks = tmp_path / "four.toml"
    marks.write_text("".join(f"[points.{name}]\nsculpt = {json.dumps(said[name]['sculpt'])}\n" for name in names))
    skin = keeper[1].skin
    crumpled = tmp_path / "keep.npy"
    np.save(crumpled, skin.astype(np.float32))  # nothing may be healed
    warped = np.array(keeper[1].neutral)
    warped[np.flatnonzero(skin)[:400:5]] *= 0.8
    write_library(tmp_path / "crumpled", keeper[1].with_(neutral=read_only(warped)))
    try:
        fit(tmp_path / "crumpled", sculpt, marks, tmp_path / "out", guess=True, level=0, protect=crumpled,
            no_pictures=True, any_size=True)  # fmt: skip
        code = 0
    except typer.Exit as ended:
        code = ended.exit_code
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert code == int(report["reversed_faces"] + report["folded_faces"] > 0)
    assert "through 4 landmarks only" in capsys.readouterr().err
