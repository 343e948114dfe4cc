"""Commands given what they cannot use: one line that names it, exit code 2, and nothing of anybody's touched."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.bench.cube_sphere import cube_sphere
from composer.cli.main import main
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from composer.head.new_folder import filled_whole, may_fill

SIZE = np.array([80.0, 110.0, 100.0])
NAMES = ("pronasale", "gnathion", "exocanthion_left", "exocanthion_right", "gonion_left", "gonion_right", "ear_left")
AIMS = np.array([[0, 0, 1], [0, -1, 0.4], [0.4, 0.4, 1], [-0.4, 0.4, 1], [0.9, -0.5, 0], [-0.9, -0.5, 0], [1, 0.2, 0]])


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in: a library of two targets, landmarks of both sides, all of them right."""
    polygons, points = cube_sphere(8)
    (tmp_path / "library").mkdir()
    write_mesh(tmp_path / "library/neutral.obj", Mesh(polygons, points * SIZE))
    moved = (points[:, 1:2] < -0.5) * [0.0, -6.0, 3.0]
    write_mesh(tmp_path / "library/grin.obj", Mesh(polygons, points * SIZE + moved))
    write_mesh(tmp_path / "sculpt.obj", Mesh(polygons, points * SIZE))
    write_mesh(tmp_path / "tiny.obj", Mesh(polygons, points[:1] * SIZE + 0.0 * points))
    write_mesh(tmp_path / "mirrored.obj", Mesh(polygons, points * SIZE * [-1.0, 1.0, 1.0]))
    at = (AIMS / np.linalg.norm(AIMS, axis=1, keepdims=True) @ points.T).argmax(axis=1).tolist()
    write_pairs(tmp_path / "marks.toml", dict(zip(NAMES, at, strict=True)), at)
    swap = [name.replace("_left", "_x").replace("_right", "_left").replace("_x", "_right") for name in NAMES]
    write_pairs(tmp_path / "swapped.toml", dict(zip(NAMES, at, strict=True)), at, swap)
    write_pairs(tmp_path / "two.toml", dict(zip(NAMES[:2], at, strict=False)), at)
    write_pairs(tmp_path / "beyond.toml", dict(zip(NAMES, at, strict=True)), [9999, *at[1:]])
    (tmp_path / "gone.toml").write_text("moue = 1\nhead = 'gone'\n")
    (tmp_path / "none.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write_pairs(path: Path, head: dict[str, int], sculpt: list[int], names: list[str] | None = None) -> None:
    there = dict(zip(names or NAMES, sculpt, strict=True))
    both = [name for name in [*head, *there] if name in head and name in there]
    path.write_text("\n".join(
        [f"{name} = {{ head = {head[name]}, sculpt = {there[name]} }}" for name in dict.fromkeys(both)]
        + [f"{name} = {{ head = {place} }}" for name, place in head.items() if name not in there]
        + [f"{name} = {{ sculpt = {place} }}" for name, place in there.items() if name not in head]
    ))  # fmt: skip


def one_line(words: str, capfd: pytest.CaptureFixture[str]) -> str:
    with pytest.raises(SystemExit) as ended:
        main(words.split())
    said = capfd.readouterr().err
    assert ended.value.code == 2, said
    assert said.count("\n") == 1 and len(said) <= 201 and "Traceback" not in said
    return said.strip()


FIT = "fit library sculpt.obj --no-pictures --to out"
FAULTS = {
    f"{FIT} --landmarks beyond.toml --guess": "beyond.toml: landmark 'pronasale' is at vertex 9999",
    f"{FIT} --landmarks swapped.toml": "swapped.toml: left and right are swapped",
    f"{FIT} --landmarks swapped.toml --guess": "swapped.toml: left and right are swapped",
    f"{FIT} --landmarks two.toml --guess": "two.toml: there are 2 pairs of landmarks",
    f"{FIT} --landmarks none.toml --guess": "none.toml: has no landmarks",
    f"{FIT} --landmarks marks.toml --level 9": "--level",
    f"{FIT} --landmarks marks.toml --free moon": "sculpt.obj: no group is named 'moon'",
    "carry library tiny.obj --to out": "tiny.obj: has no size",
    "carry library sculpt.obj --to out --sheet out/a.png": "out/a.png: is inside the folder that the carry writes",
    "carry library sculpt.obj --to out --sheet library/a.png": "library/a.png: is among the files that are read",
    "inspect library --json nowhere/report.json": "nowhere/report.json: its folder is not there",
    "inspect library --json library": "library: is not named as a report",
    "reorder sculpt.obj --like library/neutral.obj --to out.obj --landmark \u00b2=1": "is not two vertex numbers",
    "reorder sculpt.obj --like library/neutral.obj --to no/out.obj": "no/out.obj: cannot write here",
    "check gone.toml": "gone: is not there; gone.toml names it as its head",
    "match library mirrored.obj --to out.toml": "mirrored.obj: is mirrored as a whole",
}


@pytest.mark.parametrize("words", FAULTS)
def test_what_cannot_be_used_is_one_line(words: str, room: Path, capfd: pytest.CaptureFixture[str]) -> None:
    before = {path: path.read_bytes() for path in room.rglob("*") if path.is_file()}
    assert FAULTS[words] in one_line(words, capfd)
    assert {path: path.read_bytes() for path in room.rglob("*") if path.is_file()} == before
    assert not (room / "out").exists()


@pytest.mark.parametrize("words", [f"{FIT} --landmarks marks.toml", "carry library sculpt.obj --to out"])
def test_a_folder_of_somebody_s_is_refused_before_the_work(
    words: str, room: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (room / "out").mkdir()
    (room / "out/landmarks.toml").write_text("mine")
    assert one_line(words, capfd).startswith("out: holds files that are no ")
    assert (room / "out/landmarks.toml").read_text() == "mine"


def test_a_folder_is_filled_again_only_where_nobody_worked_on_it(tmp_path: Path) -> None:
    for text in ("one", "two"):
        with filled_whole(tmp_path / "fit", "made.json", "fit") as beside:
            (beside / "fitted.obj").write_text(text)
        assert (tmp_path / "fit/fitted.obj").read_text() == text
    (tmp_path / "fit/fitted.obj").write_text("sculpted on")
    with pytest.raises(Exception, match="fitted.obj has been changed since the fit"):
        may_fill(tmp_path / "fit", "made.json", "fit")
    assert [path.name for path in tmp_path.iterdir()] == ["fit"]


def test_a_fill_that_is_stopped_leaves_what_was_there(tmp_path: Path) -> None:
    with filled_whole(tmp_path / "fit", "made.json", "fit") as beside:
        (beside / "fitted.obj").write_text("one")
    with pytest.raises(KeyboardInterrupt), filled_whole(tmp_path / "fit", "made.json", "fit") as beside:
        (beside / "fitted.obj").write_text("half")
        raise KeyboardInterrupt
    assert (tmp_path / "fit/fitted.obj").read_text() == "one"
    assert [path.name for path in tmp_path.iterdir()] == ["fit"]


def test_a_match_that_is_stopped_at_its_picture_leaves_no_document(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_given: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("composer.picture.match_sheet.match_sheet", stopped)
    with pytest.raises(SystemExit) as ended:
        main(["match", "library", "library/grin.obj", "--to", "found.toml", "--heat", "left.png"])
    assert ended.value.code == 130
    assert not (room / "found.toml").exists()


def test_a_path_too_long_is_shortened_and_the_reason_is_not(room: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert one_line(f"inspect {'x' * 300}", capfd).endswith("File name too long")
