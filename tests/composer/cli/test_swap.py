"""`moue swap` and `moue carry --finer` on a bare library, as a person types them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.cli.main import main
from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.store import open_document
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from composer.head.levels import levels, refine
from composer.mixing.recipe import Cell, Recipe
from tests.composer.document.carried_document import document_on_disk, fitted_head


def moue(*words: str | Path, code: int = 0) -> None:
    with pytest.raises(SystemExit) as ended:
        main([str(word) for word in words])
    assert ended.value.code == code


@pytest.fixture
def old(tmp_path: Path) -> EvaluatedDocument:
    return document_on_disk(tmp_path)


def finer(tmp_path: Path) -> tuple[Path, np.ndarray]:
    """A fitted head's level 1 with relief of its own, on disk in cm, and its positions in mm."""
    new = fitted_head(tmp_path)
    steps = levels(new.polygons, 1)
    fine = refine(new.neutral, steps)
    fine += np.random.default_rng(5).normal(0.0, 0.08, fine.shape)
    file = tmp_path / "fitted_level1.obj"
    write_mesh(file, Mesh(steps[-1].polygons, fine / 10.0, unit="cm"))
    return file, fine


def test_a_bare_library_carried_with_finer_levels_gets_a_document_whose_shapes_wear_the_relief(
    old: EvaluatedDocument, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, fine = finer(tmp_path)
    moue("carry", tmp_path / "old/library", tmp_path / "fitted.obj", "--fitted-unit", "cm", "--finer", file,
         "--to", tmp_path / "new")  # fmt: skip
    assert "new/document.toml: 6 shapes" in capsys.readouterr().out
    made = EvaluatedDocument.open(open_document(tmp_path / "new/document.toml"))
    level = EvaluatedLevel(made, 1)
    np.testing.assert_allclose(level.head.neutral, fine, atol=1e-3)
    steps = levels(made.head.polygons, 1)
    for name in made.head.shape_names:
        recipe = Recipe(name, (Cell("all", name, 1.0),))
        relief = level.pose(recipe) - refine(made.pose(recipe), steps)
        own = level.head.neutral - refine(made.head.neutral, steps)
        np.testing.assert_allclose(np.linalg.norm(relief, axis=1), np.linalg.norm(own, axis=1), atol=1e-3)


def test_regions_are_laid_in_a_document_that_has_none_and_its_levels_stay(
    old: EvaluatedDocument, tmp_path: Path
) -> None:
    file, _ = finer(tmp_path)
    moue("carry", tmp_path / "old/library", tmp_path / "fitted.obj", "--fitted-unit", "cm", "--finer", file,
         "--to", tmp_path / "new")  # fmt: skip
    moue("regions", tmp_path / "new/document.toml", "--from", "displacement", "--to", tmp_path / "mine/face.toml")
    project = open_document(tmp_path / "mine/face.toml")
    assert project.regions and project.levels[1].resolve() == (tmp_path / "new/level1").resolve()
    EvaluatedLevel(EvaluatedDocument.open(project), 1).pose(Recipe("lift", (Cell("all", "lift", 1.0),)))
    moue("regions", tmp_path / "mine/face.toml", "--to", tmp_path / "mine/again.toml", code=2)


def test_swap_changes_the_document_keeps_a_copy_and_says_what_changed(
    old: EvaluatedDocument, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fitted_head(tmp_path)
    document = old.project.path
    pose = old.pose(old.project.recipe("doubt"))
    moue("swap", document, tmp_path / "fitted.obj", "--fitted-unit", "cm", "--name", "ferrier")
    said = capsys.readouterr().out
    assert "heads/ferrier now; kept: 6 shapes" in said and "Regions moving, upper" in said
    swapped = EvaluatedDocument.open(open_document(document))
    assert swapped.library.name == "ferrier" and list(swapped.project.earlier)
    before = EvaluatedDocument.open(open_document(document.parent / "heads/ferrier/before.moue"))
    np.testing.assert_allclose(before.pose(before.project.recipe("doubt")), pose, atol=1e-4)


def test_with_to_the_old_document_stays_as_it_is(old: EvaluatedDocument, tmp_path: Path) -> None:
    fitted_head(tmp_path)
    text = old.project.path.read_bytes()
    moue("swap", old.project.path, tmp_path / "fitted.obj", "--fitted-unit", "cm", "--to", tmp_path / "next/clock.toml")
    assert old.project.path.read_bytes() == text
    made = EvaluatedDocument.open(open_document(tmp_path / "next/clock.toml"))
    assert made.project.head_path.resolve().is_relative_to((tmp_path / "next/heads").resolve())
    assert [r.name for r in made.project.regions] == [r.name for r in old.project.regions]


def test_a_recipe_of_an_earlier_head_becomes_the_head(
    old: EvaluatedDocument, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fitted_head(tmp_path)
    document = old.project.path
    moue("swap", document, tmp_path / "fitted.obj", "--fitted-unit", "cm")
    (name,) = open_document(document).earlier
    document.write_text(
        document.read_text() + f'\n[recipes.kin]\ncells = [{{ region = "upper", shape = "{name}", weight = 1.0 }}]\n'
    )
    moue("swap", document, "--recipe", "kin")
    made = EvaluatedDocument.open(open_document(document))
    assert made.library.name == "kin" and len(made.project.earlier) == 2
    capsys.readouterr()
    moue("swap", document, "--recipe", "doubt")
    assert "Expressions became part of the face at rest: lift, au1_left, drop" in capsys.readouterr().err


@pytest.mark.parametrize(("words", "said"), [
    ([], "a fitted head is needed"), (["--recipe", "nothing"], "no recipe is named"),
    (["--recipe", "doubt", "--finer", "x.obj"], "are for a fitted head"),
    (["fitted.obj", "--to", "new.obj"], "is no new document"),
])  # fmt: skip
def test_a_mistake_is_one_line(
    old: EvaluatedDocument, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    moue("swap", old.project.path, *words, code=2)
    lines = capsys.readouterr().err.strip().splitlines()
    assert said in lines[-1] and not any("Traceback" in line for line in lines)
    assert not (old.project.path.parent / "heads").exists()
