"""Tables of a document: written, read by the README's own lines, taken back, and refused with row and column."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from composer.cli.main import main
from composer.document.evaluated import EvaluatedDocument
from composer.document.recipe_table import recipes_in, recipes_text
from composer.document.tables_out import write_tables
from composer.edits.take_tables import take_table
from composer.errors import MoueError
from composer.formats.registry import read_mesh
from composer.head.head import Head, Part, Shape
from composer.mixing.anchors import anchors
from composer.mixing.clip import Clip, Key
from composer.mixing.recipe import Cell, Recipe, Row
from tests.composer.document.small_document import small_head, small_project
from tests.composer.document.test_clips import folder

__all__ = ["folder"]

README = Path(__file__).resolve().parents[3] / "README.md"
MORE = (
    Recipe("both, replaced", (Cell("all", "lift", 0.5), Cell("brow_left", "skew", 0.4), Cell("dots", "lift", -0.3)),
           {"brow_left": Row("replace", 0.7), "dots": Row("replace"), "all": Row("add", 0.6)}, 1.5),
    Recipe("empty row", (Cell("all", "lift", 1.0),), {"glabella": Row("replace", 0.5)}, note='a "note", with a comma'),
    Recipe("mirrored", (Cell("all", "au1_left", 0.8, True), Cell("remainder", "au1_left", 0.1)), {}, 0.5),
)  # fmt: skip


def document() -> EvaluatedDocument:
    project = small_project()
    clip = Clip("tide", 10.0, 1.0, (Key(0.0, "neutral"), Key(1.0, "call"), Key(0.5, "doubt", 0.3)))
    project = project.with_(shapes={}, recipes=(*project.recipes, *MORE), clips=(clip,))
    return EvaluatedDocument(project, with_a_hair(small_head())).again(project)


def with_a_hair(head: Head) -> Head:
    """The head with a vertex that stands on the skin beside it, and moves as that does in every shape."""
    hair = 31
    bare = head.with_(parts=(*head.parts, Part("hair", np.array([hair], dtype=np.int32), "surface")))
    places = anchors(bare)
    row = int(np.flatnonzero(places.vertices == hair)[0])
    shapes = []
    for shape in head.shapes:
        delta = shape.delta.copy()
        delta[hair] = places.bary[row] @ delta[places.corners[row]]
        shapes.append(Shape(shape.name, delta))
    return bare.with_(shapes=tuple(shapes))


def printed() -> dict[str, Any]:
    """What the lines in the README define."""
    blocks = re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.S)
    (code,) = (block for block in blocks if "poses" in block)
    body = [line for line in code.splitlines() if line.strip() and not line.lstrip().startswith(("import", "#"))]
    assert len(body) <= 30
    assert set(re.findall(r"^import (\w+)", code, re.M)) == {"csv", "numpy"}
    names: dict[str, Any] = {}
    exec(code, names)
    return names


def test_the_lines_in_the_readme_give_every_linear_pose(tmp_path: Path) -> None:
    evaluated = document()
    assert evaluated.mixer.standing.vertices.tolist() == [31]
    write_tables(evaluated, tmp_path / "tables")
    given = dict(printed()["poses"](tmp_path / "tables"))
    assert list(given) == [recipe.name for recipe in evaluated.project.recipes]
    for recipe in evaluated.project.recipes:
        np.testing.assert_allclose(given[recipe.name], evaluated.pose(recipe), atol=1e-9)


def test_recipes_come_back_as_they_were(tmp_path: Path) -> None:
    recipes = document().project.recipes
    recipes = (recipes[0].with_(contact=True, join="seamless", halo=0.1), *recipes[1:])
    (tmp_path / "a.csv").write_text(recipes_text(recipes))
    back = recipes_in(tmp_path / "a.csv")
    for one, other in zip(back, recipes, strict=True):
        assert sorted(one.cells, key=str) == sorted(other.cells, key=str) and one.rows == other.rows
        assert one.with_(cells=(), rows={}) == other.with_(cells=(), rows={})
    with (tmp_path / "a.csv").open(newline="") as file:  # another reader sees the same
        rows = list(csv.DictReader(file))
    assert rows[0]["brow_left/au1_left"] == "0.8" and rows[0]["brow_left/"] == "replace 0.7"
    assert rows[2]["recipe"] == "wait" and rows[2]["lift"] == ""


def test_a_document_takes_its_own_tables_and_stays_as_it_is(tmp_path: Path) -> None:
    evaluated = document()
    files = write_tables(evaluated, tmp_path / "tables")
    made = ("effective.csv", "standing.csv")
    for file in files:
        if file.suffix in (".csv", ".json") and file.name not in made and file.parent.name != "clips":
            after = take_table(evaluated.project, file, evaluated)
            assert after.regions == evaluated.project.regions and after.clips == evaluated.project.clips, file.name
            again = evaluated.again(after)
            for recipe in evaluated.project.recipes:
                same = after.recipe(recipe.name)
                np.testing.assert_allclose(again.pose(same), evaluated.pose(recipe), atol=1e-12)
    clip = take_table(evaluated.project.with_(path=tmp_path / "d.toml"), tmp_path / "tables/clips/tide.csv", evaluated)
    assert clip.clip("tide").file == "tables/clips/tide.csv"


def test_tables_go_into_another_document(tmp_path: Path) -> None:
    evaluated = document()
    write_tables(evaluated, tmp_path / "tables")
    bare = evaluated.project.with_(regions=(), recipes=(), clips=(), stored={})
    for names in (["masks.csv", "regions.csv", "recipes.csv"], ["tables.json"]):
        other = EvaluatedDocument(bare, evaluated.head).again(bare)
        for name in names:
            other = other.again(take_table(other.project, tmp_path / "tables" / name, other))
        for recipe in evaluated.project.recipes:
            pose = other.pose(other.project.recipe(recipe.name))
            np.testing.assert_allclose(pose, evaluated.pose(recipe), atol=1e-5)  # masks are kept as float32
        assert [region.name for region in other.project.regions] == [r.name for r in evaluated.project.regions]
    assert other.project.clips == evaluated.project.clips


FAULTS = {
    "recipe,all/lift\na,0.5\nb,\nc,half\n": "a.csv:4: row 4, column 2 (all/lift) is 'half', which is no number",
    'recipe,lift\na,"0,5"\n': "a.csv:2: row 2, column 2 (lift) is '0,5', with another decimal sign",
    "recipe,lift\na,3\n": "a.csv:2: row 2, column 2 (lift) is 3, not in [-1, 2]",
    "recipe,lift,lift %\na,1,1\n": "a.csv:1: has 'lift' twice, in columns 2 and 3",
    "recipe,lift,all/lift\na,1,1\n": "row 2, column 3 (all/lift) is the cell all x lift again",
    "recipe,lift\na,1\na,1\n": "a.csv:3: row 3 is recipe 'a', as row 2 is",
    "recipe,lift\n,1\n": "row 2, column 1 (recipe) names no recipe",
    "recipe,lift\na,1,5\n": "a.csv:2: row 2 has 3 values, row 1 names 2 columns",
    "recipe;lift\na;1\n": "a.csv:1: has semicolons between its columns",
    "recipe,brow_left/\na,swap 1\n": "row 2, column 2 (brow_left/) is 'swap 1'; write add or replace",
    "recipe,lft\na,1\n": "a.csv: recipe 'a': no shape is named 'lft'; did you mean lift",
    "recipe,brow_lft/lift\na,1\n": "no region is named 'brow_lft'; did you mean brow_left",
    "name,lift\na,1\n": "a.csv:1: is a table of nothing",
    "vertex,brow_left\n0,1\n": "has 1 rows, the head 63 vertices",
    "region,set,locked\nbrow_left,face,maybe\n": "row 2, column 3 (locked) is 'maybe'",
    "region,source\nbrow_left,{\n": "row 2, column 2 (source) is no JSON object",
}


@pytest.mark.parametrize("text", FAULTS)
def test_a_fault_is_one_line_with_row_and_column(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(text)
    evaluated = document()
    with pytest.raises(MoueError) as error:
        take_table(evaluated.project, tmp_path / "a.csv", evaluated)
    assert FAULTS[text] in str(error.value) and len(str(error.value)) <= 200


def test_a_spreadsheet_is_baked_and_taken(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (folder / "fifty.csv").write_text(
        "recipe,lift %,brow/skew\n" + "".join(f"r{i},{i},{i / 100}\n" for i in range(1, 51))
    )
    before = (folder / "document.toml").read_bytes()
    words = ["bake", "document.toml", "--table", "fifty.csv", "--to", "out"]
    for command in (words, ["table", "document.toml", "--take", "fifty.csv", "--to", "tables"]):
        with pytest.raises(SystemExit) as end:
            main([str(folder / word) if "." in word or word in ("out", "tables") else word for word in command])
        assert not end.value.code, capfd.readouterr().err
        if command is words:
            assert (folder / "document.toml").read_bytes() == before
    head = small_head()
    mask = np.linspace(0.0, 1.0, head.n_vertices)[:, None]
    lift, skew = (head.shape(name).delta.astype(np.float64) for name in ("lift", "skew"))
    assert len(list((folder / "out").glob("r*.obj"))) == 50
    expected = head.neutral + 0.5 * lift + 0.5 * mask * skew
    np.testing.assert_allclose(read_mesh(folder / "out/r50.obj").positions, expected, atol=1e-4)
    held = json.loads((folder / "tables/tables.json").read_text())
    assert len(held["recipes"]) == 51 and held["recipes"][-1]["name"] == "r50"
