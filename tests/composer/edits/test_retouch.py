"""A library's own shape retouched: it is the sculpt, recipes follow, what rests on it is told, and it can go back."""

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.evaluated_level import EvaluatedLevel
from composer.document.store import open_document, save_document
from composer.edits.accept import save_accepted, told
from composer.edits.retouch import retouch
from composer.edits.sculpt import Sculpt
from composer.edits.shapes import delete_kept_shape
from composer.errors import MoueError
from composer.formats.mesh import mesh_of
from composer.formats.registry import read_mesh, write_mesh
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import ALL, Cell, Recipe
from tests.composer.document.small_document import small_head, small_project

HEAD = small_head()
LIMIT = 1e-5 * HEAD.diagonal


def opened() -> EvaluatedDocument:
    project = small_project()
    fix = Corrective("au1_right", (Trigger(ALL, "lift", 1.0),))
    use = Recipe("uses", (Cell(ALL, "lift", 0.5),))
    return EvaluatedDocument(project, HEAD).again(
        project.with_(recipes=(*project.recipes, use), correctives=(*project.correctives, fix))
    )


def alone(evaluated: EvaluatedDocument, name: str, level: int) -> np.ndarray:
    """The shape by itself, without any corrective."""
    plain = evaluated.again(evaluated.project.with_(correctives=()))
    return EvaluatedLevel(plain, level).pose(Recipe("alone", (Cell(ALL, name, 1.0),)))


def sculpted(evaluated: EvaluatedDocument, name: str, level: int, seed: int = 1) -> Sculpt:
    points = alone(evaluated, name, level).copy()
    points[: len(points) // 3] += np.random.default_rng(seed).normal(size=(len(points) // 3, 3))
    return Sculpt(Path(f"{name}.obj"), level, points)


@pytest.mark.parametrize("level", [0, 1])
@pytest.mark.parametrize("name", ["lift", "skew", "au1_left"])
def test_the_shape_is_then_the_sculpt_and_every_other_as_it_was(name: str, level: int) -> None:
    evaluated = opened()
    sculpt = sculpted(evaluated, name, level)
    done = retouch(evaluated, name, sculpt)
    assert done.retouched and done.left_mm < LIMIT
    assert np.abs(alone(done.evaluated, name, level) - sculpt.positions).max() < LIMIT
    np.testing.assert_array_equal(done.before, alone(evaluated, name, level))
    assert done.evaluated.head.shape_names == evaluated.head.shape_names
    for other in evaluated.head.shape_names:
        if other != name:
            assert done.evaluated.head.shape(other).delta is evaluated.head.shape(other).delta
    again = retouch(done.evaluated, name, sculpted(done.evaluated, name, level, 2))
    assert again.evaluated.head.shape_names == evaluated.head.shape_names


def test_what_rests_on_the_old_one_is_told() -> None:
    said = "\n".join(told(retouch(opened(), "lift", sculpted(opened(), "lift", 0))))
    assert "is the shape 'lift' now" in said and "Recipes that use it change with it:" in said and "uses" in said
    assert "Correctives sculpted on the old one come on top of the new one: au1_right" in said


def test_mistakes_are_told_in_one_line() -> None:
    evaluated = opened()
    same = Sculpt(Path("lift.obj"), 0, alone(evaluated, "lift", 0))
    with pytest.raises(MoueError, match="is shape 'lift' as it was: nothing moved"):
        retouch(evaluated, "lift", same)
    with pytest.raises(MoueError, match="no shape is named 'lfit'; did you mean lift"):
        retouch(evaluated, "lfit", same)
    with pytest.raises(MoueError, match="is a corrective"):
        retouch(evaluated, "au1_right", same)


def test_the_library_stays_as_it_is_and_comes_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                   capsys: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    from composer.cli.main import main

    (tmp_path / "library").mkdir()
    for name in (HEAD.neutral_name, *HEAD.shape_names):
        write_mesh(tmp_path / f"library/{name}.obj", mesh_of(HEAD, HEAD.target(name)))
    cells = 'cells = [{ region = "all", shape = "lift", weight = 1.0 }]'
    (tmp_path / "clock.toml").write_text(f'moue = 1\nunit = "mm"\nhead = "library"\n[recipes.call]\n{cells}\n')
    monkeypatch.chdir(tmp_path)
    before = {file.name: file.read_bytes() for file in (tmp_path / "library").iterdir()}
    points = HEAD.target("lift").copy()
    points[:9] += 2.0
    write_mesh(tmp_path / "sculpt.obj", mesh_of(HEAD, points))

    def run(*words: str) -> str:
        with pytest.raises(SystemExit) as ended:
            main(["accept", "clock.toml", *words])
        assert not ended.value.code
        return capsys.readouterr().out

    assert "is the shape 'lift' now" in run("sculpt.obj", "--shape", "lift")
    assert {file.name: file.read_bytes() for file in (tmp_path / "library").iterdir()} == before
    ready = EvaluatedDocument.open(open_document(tmp_path / "clock.toml"))
    np.testing.assert_allclose(ready.head.target("lift"), points, atol=LIMIT)
    was = read_mesh(tmp_path / "clock_accepted/lift_1.obj").positions
    np.testing.assert_allclose(was, HEAD.target("lift"), atol=LIMIT)
    assert "lift" in (tmp_path / "clock_accepted/lift_1.txt").read_text()
    assert "the library's own again" in run("--remove", "lift")
    ready = EvaluatedDocument.open(open_document(tmp_path / "clock.toml"))
    np.testing.assert_allclose(ready.head.target("lift"), HEAD.target("lift"), atol=LIMIT)


def test_a_retouch_is_saved_and_read_again_and_deleting_it_leaves_nothing(tmp_path: Path) -> None:
    evaluated = opened()
    done = retouch(evaluated, "lift", sculpted(evaluated, "lift", 1))
    back = delete_kept_shape(done.project, "lift")
    assert "delta" not in back.shapes.get("lift", {}) and set(back.stored) == set(evaluated.project.stored)
    save_document(done.project, tmp_path / "clock.moue")
    assert open_document(tmp_path / "clock.moue").shapes["lift"]["replaces"] is True
    assert save_accepted(done, tmp_path / "clock.moue")[1].name == "lift_1.obj"
