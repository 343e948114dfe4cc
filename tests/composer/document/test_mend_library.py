"""Planted faults in a small library, each alone and several together; a sound one is silent and copied as it is."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import typer
from scipy.spatial.transform import Rotation

from composer.cli.inspect import inspect
from composer.document.inspection import inspect_folder
from composer.document.mend import write_mended
from composer.errors import MoueError
from composer.formats.library import open_library
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.geometry.polygons import Polygons
from composer.head.levels import Refinement
from tests.small_heads import CUBE, CUBE_CORNERS

NAMES = ("brow", "cheek", "chin", "lid", "lip", "nose")


def skin() -> tuple[Polygons, np.ndarray]:
    """An uneven open ball of about 300 mm: two levels of a cube with one side out, one polygon cut in two."""
    box = Polygons(CUBE.counts[:5], CUBE.indices[:20], 8)
    first = Refinement(box)
    second = Refinement(first.polygons)
    points = second.apply(first.apply(CUBE_CORNERS * [80.0, 120.0, 100.0]))
    points += np.random.default_rng(0).uniform(-2, 2, points.shape)
    return second.polygons, points


@pytest.fixture
def library(tmp_path: Path) -> Path:
    mesh, rest = skin()
    folder = tmp_path / "scans"
    folder.mkdir()
    write_mesh(folder / "neutral.obj", Mesh(mesh, rest))
    rng = np.random.default_rng(1)
    for name in NAMES:
        near = np.exp(-((rest - rest[rng.integers(len(rest))]) ** 2).sum(axis=1) / (2 * 25.0**2))
        near[near < 0.05] = 0.0
        write_mesh(folder / f"{name}.obj", Mesh(mesh, rest + near[:, None] * rng.normal(size=3) * 6.0))
    (folder / "landmarks.toml").write_text("[points]\nsellion = 3\n")
    return folder


def rewrite(path: Path, change: Callable[[Mesh], Mesh]) -> None:
    write_mesh(path, change(read_mesh(path)))


def shuffled(mesh: Mesh) -> Mesh:
    rng = np.random.default_rng(5)
    order, faces = rng.permutation(mesh.n_vertices), rng.permutation(mesh.polygons.n_faces)
    points = np.empty_like(mesh.positions)
    points[order] = mesh.positions
    corner = mesh.polygons.indices.reshape(-1, 4)[faces]
    return Mesh(Polygons(mesh.polygons.counts, order[corner].ravel(), mesh.n_vertices), points)


def triangulated(mesh: Mesh) -> Mesh:
    triangles = mesh.polygons.triangles
    return Mesh(Polygons(np.full(len(triangles), 3), triangles.ravel(), mesh.n_vertices), mesh.positions)


def split(mesh: Mesh) -> Mesh:
    """Doubled along the plane x = 0, both ends of which are borders."""
    middle = np.flatnonzero(np.abs(mesh.positions[:, 0]) < 6.0)
    copy = np.arange(mesh.n_vertices)
    copy[middle] = mesh.n_vertices + np.arange(len(middle))
    quads = mesh.polygons.indices.reshape(-1, 4)
    right = mesh.positions[quads].mean(axis=1)[:, 0] > 0
    quads = np.where(right[:, None], copy[quads], quads)
    n = mesh.n_vertices + len(middle)
    return Mesh(Polygons(mesh.polygons.counts, quads.ravel(), n), np.vstack([mesh.positions, mesh.positions[middle]]))


def finer(mesh: Mesh) -> Mesh:
    step = Refinement(mesh.polygons)
    return Mesh(step.polygons, step.apply(mesh.positions))


def turned(mesh: Mesh) -> Mesh:
    return Mesh(mesh.polygons, Rotation.from_rotvec([0.02, 0.01, 0.0]).apply(mesh.positions) + [1.0, 0.0, 2.0])


def scaled(mesh: Mesh) -> Mesh:
    return Mesh(mesh.polygons, mesh.positions / 25.4)


FAULTS: dict[str, Callable[[Mesh], Mesh]] = {
    "order.shuffled": shuffled, "order.triangles": triangulated, "order.seams": split, "level.finer": finer,
    "motion.head": turned, "scale.mixed": scaled,
}  # fmt: skip


def codes(folder: Path) -> dict[str, list[str]]:
    return {file.path.stem: [f.code for f in file.faults] for file in inspect_folder(folder).files if file.faults}


def targets(folder: Path) -> dict[str, np.ndarray]:
    head = open_library(folder, unit="mm", recognise=False)
    return {name: head.target(name) for name in ("neutral", *head.shape_names)}


def test_a_sound_library_is_silent_and_its_copy_is_the_same(library: Path, tmp_path: Path) -> None:
    assert codes(library) == {}
    became = write_mended(inspect_folder(library), tmp_path / "out")
    assert set(became.values()) == {"copied"}
    for file in library.iterdir():
        assert (tmp_path / "out" / file.name).read_bytes() == file.read_bytes()


@pytest.mark.parametrize("code", FAULTS)
def test_each_fault_alone_is_named_and_mended(library: Path, tmp_path: Path, code: str) -> None:
    sound = targets(library)
    rewrite(library / "lip.obj", FAULTS[code])
    assert codes(library) == {"lip": [code]}
    before = {file.name: file.read_bytes() for file in library.iterdir()}
    became = write_mended(inspect_folder(library), tmp_path / "out")
    assert became["lip.obj"] == "mended" and list(became.values()).count("copied") == 6
    assert {file.name: file.read_bytes() for file in library.iterdir()} == before
    mended = targets(tmp_path / "out")
    for name, points in sound.items():
        np.testing.assert_allclose(mended[name], points, atol=0.1 if code == "motion.head" else 1e-3)
    assert codes(tmp_path / "out") == {}


def test_several_faults_together_are_mended(library: Path, tmp_path: Path) -> None:
    sound = targets(library)
    rewrite(library / "lip.obj", lambda mesh: scaled(shuffled(turned(mesh))))
    rewrite(library / "nose.obj", lambda mesh: triangulated(split(mesh)))
    rewrite(library / "chin.obj", lambda mesh: scaled(finer(mesh)))
    found = codes(library)
    assert set(found["lip"]) == {"scale.mixed", "order.shuffled", "motion.head"}
    assert found["nose"] == ["order.seams"] and set(found["chin"]) == {"scale.mixed", "level.finer"}
    write_mended(inspect_folder(library), tmp_path / "out")
    mended = targets(tmp_path / "out")
    for name, points in sound.items():
        np.testing.assert_allclose(mended[name], points, atol=0.1)


def test_a_whole_library_in_another_order_than_its_neutral_follows_the_many(library: Path) -> None:
    rewrite(library / "neutral.obj", shuffled)
    assert codes(library) == {"neutral": ["order.shuffled"]}


def test_dead_and_double_shapes_are_told_and_kept(library: Path, tmp_path: Path) -> None:
    shutil.copy(library / "neutral.obj", library / "nothing.obj")
    shutil.copy(library / "lip.obj", library / "lip_again.obj")
    assert codes(library) == {"nothing": ["shape.dead"], "lip_again": ["shape.double"]}
    write_mended(inspect_folder(library), tmp_path / "out")
    assert (tmp_path / "out/nothing.obj").exists() and (tmp_path / "out/lip_again.obj").exists()


def test_a_neutral_with_its_lids_shut_is_told_with_the_place(library: Path) -> None:
    moved = read_mesh(library / "lid.obj").positions
    change = moved - read_mesh(library / "neutral.obj").positions
    rewrite(library / "neutral.obj", lambda mesh: Mesh(mesh.polygons, mesh.positions + 1.2 * change))
    found = inspect_folder(library)
    told = [fault.words for file in found.files for fault in file.faults if fault.code == "neutral.unrest"]
    assert len(told) == 1 and "is not at rest: vertex" in told[0] and "near sellion" in told[0]


def test_a_file_that_cannot_be_mended_is_named_and_left_out_and_the_rest_is_mended(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (library / "chin.obj").write_text("v 1 2 three\n")
    rewrite(library / "lip.obj", shuffled)
    with pytest.raises(typer.Exit) as ended:
        inspect(library, mend=tmp_path / "out", json_file=str(tmp_path / "report.json"))
    assert ended.value.exit_code == 1
    shown = capsys.readouterr().out
    assert "1 file mended, 5 files copied, 1 file left out" in shown and "chin.obj" in shown
    assert "the file is left out" in shown
    report = json.loads((tmp_path / "report.json").read_text())
    assert {row["file"]: row["became"] for row in report["files"]} == {"chin.obj": "left out", "lip.obj": "mended"}
    assert not (tmp_path / "out/chin.obj").exists() and (tmp_path / "out/lip.obj").exists()


def test_another_mesh_is_an_error_with_its_place(library: Path) -> None:
    def hole(mesh: Mesh) -> Mesh:
        return Mesh(Polygons(mesh.polygons.counts[:-1], mesh.polygons.indices[:-4], mesh.n_vertices), mesh.positions)

    rewrite(library / "lid.obj", hole)
    found = [f for file in inspect_folder(library).files for f in file.faults]
    assert [f.code for f in found] == ["order.other"]
    assert "has 79 polygons, the reference 80; polygon" in found[0].words


def test_nothing_of_the_persons_is_overwritten(library: Path, tmp_path: Path) -> None:
    looked = inspect_folder(library)
    for to in (library, library / "mended"):
        with pytest.raises(MoueError, match="lies in the library itself"):
            write_mended(looked, to)
    (tmp_path / "full").mkdir()
    (tmp_path / "full/mine.txt").write_text("mine")
    with pytest.raises(MoueError, match="is there already"):
        write_mended(looked, tmp_path / "full")
    with pytest.raises(MoueError, match="only a folder of targets can be mended"):
        inspect(library / "lip.obj", mend=tmp_path / "out")


def test_the_report_lists_levels_and_faults(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rewrite(library / "lip.obj", turned)
    inspect(library, unit="mm", json_file="-")
    report = json.loads(capsys.readouterr().out)
    assert report["levels"]["0"] == 89 and report["files"][0]["file"] == "lip.obj"
    assert report["files"][0]["turn_deg"] == pytest.approx(np.degrees(np.hypot(0.02, 0.01)), abs=0.05)
    inspect(library, unit="mm")
    assert "head motion of 1.28 degrees" in capsys.readouterr().out


def test_a_library_that_lives_above_its_cage_is_told(library: Path) -> None:
    for file in library.glob("*.obj"):
        rewrite(file, finer)
    notes = inspect_folder(library).notes
    assert any("It is at level" in note and "of a cage of" in note for note in notes)
    assert codes(library) == {}


def test_a_mirrored_target_cannot_be_mended_and_is_named(library: Path, tmp_path: Path) -> None:
    rewrite(library / "cheek.obj", lambda mesh: Mesh(mesh.polygons, mesh.positions * (-1.0, 1.0, 1.0)))
    assert codes(library) == {"cheek": ["shape.mirrored"]}
    became = write_mended(inspect_folder(library), tmp_path / "mended")
    assert became["cheek.obj"] == "left out" and not (tmp_path / "mended" / "cheek.obj").exists()
