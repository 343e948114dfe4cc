"""Moue from Python: the README's script as printed, and what importing the package costs."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import composer
from composer.demo.write import write_library
from composer.errors import MoueError
from composer.formats.mesh import mesh_of
from composer.formats.registry import read_mesh, write_mesh
from composer.head.landmarks import Landmarks, write_landmarks
from tests.demo_heads import library
from tests.demo_heads import sculpt as sculpt_of

ROOT = Path(__file__).resolve().parent.parent
PLACED = ("pronasale", "gnathion", "sellion", "exocanthion_left", "exocanthion_right", "cheilion_left",
          "cheilion_right", "tragion_left", "tragion_right")  # fmt: skip


def script_of_the_readme() -> str:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    printed = re.search(r"## From Python\n\n```python\n(.*?)```", text, re.S)
    assert printed is not None
    return printed.group(1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the script begins with: keeper's library, small, and ferrier's sculpt with its landmarks."""
    place = tmp_path_factory.mktemp("scripted")
    keeper = library(shapes=("joy", "surprise", "au26"))
    assert keeper.landmarks is not None
    write_library(place / "keeper", keeper)
    sculpt = sculpt_of("ferrier")
    write_mesh(place / "ferrier.obj", mesh_of(sculpt.head(), unit="mm"))
    placed = Landmarks({name: sculpt.landmarks.points[name] for name in PLACED})
    write_landmarks(place / "ferrier.landmarks.toml", keeper.landmarks, placed)
    return place


@pytest.fixture(scope="module")
def done(folder: Path) -> subprocess.CompletedProcess[str]:
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r})\n{script_of_the_readme()}"
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=folder)


def test_the_script_has_at_most_20_lines_and_runs_as_printed(
    done: subprocess.CompletedProcess[str], folder: Path
) -> None:
    assert len(script_of_the_readme().strip().splitlines()) <= 20
    assert done.returncode == 0, done.stderr
    for file in ("mine/document.toml", "baked/neutral.obj", "baked/doubt.obj", "ferrier/document.toml", "ferrier.png"):
        assert (folder / file).is_file(), file


def test_the_script_s_figures_are_those_of_its_files(done: subprocess.CompletedProcess[str], folder: Path) -> None:
    lines = done.stdout.splitlines()
    neutral, doubt = (read_mesh(folder / f"baked/{name}.obj").positions for name in ("neutral", "doubt"))
    furthest = np.linalg.norm(doubt - neutral, axis=1).max()
    assert f"up to {furthest:.1f} mm" in lines[0] and furthest > 1.0
    assert float(lines[-1]) == pytest.approx(1.0, abs=1e-4)  # the weights of a bake are found again
    ours = composer.open_document(folder / "ferrier/document.toml")
    assert [recipe.name for recipe in ours.project.recipes] == ["doubt"]
    assert len(ours.head.neutral) == len(neutral)


def test_recipes_are_named_given_or_all(folder: Path, done: subprocess.CompletedProcess[str], tmp_path: Path) -> None:
    document = composer.open_document(folder / "mine/document.toml")
    other = composer.make_recipe("jaw", {("all", "au26"): 1.0}, replaces=["mouth_corner_right"], strength=0.5)
    whole = document.head.neutral + document.head.shape("au26").delta
    pose = composer.evaluate(document, composer.make_recipe("jaw", {("all", "au26"): 1.0}))
    assert np.abs(pose - whole).max() < 0.01 * np.abs(document.head.shape("au26").delta).max()
    assert [file.stem for file in composer.bake(document, tmp_path / "one", [other])] == ["neutral", "jaw"]
    assert [each.name for each in composer.check(document, [other, "doubt"])][1:] == ["jaw", "doubt"]
    assert [r.name for r in document.project.recipes] == ["doubt"]  # the document itself stays as it is
    mirrored = composer.make_recipe("mirrored", {("mouth_corner_left", "joy", True): 1.0})
    assert np.abs(composer.evaluate(document, mirrored) - document.head.neutral).max() > 0.5
    louder = composer.add_recipe(document, composer.make_recipe("doubt", {("all", "joy"): 1.0}))
    assert [r.cells[0].shape for r in louder.project.recipes] == ["joy"]


def test_mistakes_are_one_line(folder: Path, done: subprocess.CompletedProcess[str], tmp_path: Path) -> None:
    document = composer.open_document(folder / "mine/document.toml")
    for call in (
        lambda: composer.make_recipe("x", {("all", "joy"): 3.0}),
        lambda: composer.evaluate(document, "doubtt"),
        lambda: composer.evaluate(document, composer.make_recipe("x", {("all", "jooy"): 1.0})),
        lambda: composer.add_recipe(document, composer.make_recipe("x", {("brow", "joy"): 1.0})),
        lambda: composer.draw_sheet(document, tmp_path / "sheet.gif"),
        lambda: composer.open_library(tmp_path / "nowhere"),
        lambda: composer.match(document, tmp_path / "nowhere.obj"),
        lambda: composer.check_clip(document, "tide"),
        lambda: composer.compare_clip(document, "tide", tmp_path),
        lambda: composer.match_clip(document, tmp_path / "nowhere", "take"),
        lambda: composer.take_table(document, tmp_path / "nowhere.csv"),
    ):
        with pytest.raises(MoueError) as told:
            call()
        assert "\n" not in str(told.value) and len(str(told.value)) <= 200
    with pytest.raises(TypeError):
        composer.fit(document.head, folder / "ferrier.obj", folder / "ferrier.landmarks.toml", upto=1)


def test_importing_loads_neither_scipy_nor_numpy_nor_a_window() -> None:
    code = (
        "import sys, composer; dir(composer); composer.__version__\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'scipy', 'numpy', 'pyglet', 'imgui_bundle', 'PIL'}))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    assert out.strip() == "[]"
    code = code.replace("composer.__version__", "composer.bake")
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    assert "numpy" in out and "pyglet" not in out and "imgui_bundle" not in out


def test_every_name_is_there_typed_and_documented() -> None:
    from composer import scripting

    assert composer.__all__ == scripting.__all__
    for name in composer.__all__:
        offered = getattr(composer, name)
        assert offered is getattr(scripting, name) and offered.__doc__, name
        if inspect.isfunction(offered):
            signature = inspect.signature(offered)
            assert signature.return_annotation is not inspect.Signature.empty, name
            assert all(p.annotation is not p.empty for p in signature.parameters.values()), name
    with pytest.raises(AttributeError):
        _ = composer.baek
