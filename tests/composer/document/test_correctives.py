"""[[correctives]] in a document: read, written with its comments kept, refused by name, and felt in every pose."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.document.evaluated import EvaluatedDocument
from composer.document.project import Project
from composer.document.read import parse_document
from composer.document.store import open_document, save_document
from composer.document.text import document_text
from composer.edits.cells import set_cell
from composer.edits.correctives import set_corrective
from composer.edits.regions import delete_region, rename_region, split_region
from composer.edits.shapes import delete_kept_shape, keep_shape
from composer.errors import MoueError
from composer.mixing.corrective import Corrective, Trigger
from composer.mixing.recipe import Cell
from tests.composer.document.small_document import small_head, small_project

HEAD = small_head()
TEXT = """moue = 1
head = "library"
[recipes.doubt]  # first
cells = [ { region = "all", shape = "lift", weight = 1.0 } ]  # one
# from the quay
[[correctives]]   # the lift
shape = "skew"
when = [ { region = "all", shape = "lift", at = 0.8 }, { region = "all", shape = "drop", at = -0.5, mirrored = true } ]
[recipes.call]   # second
cells = []
"""


def read(text: str) -> Project:
    return parse_document(text.encode(), Path("document.toml"))


def test_correctives_are_read() -> None:
    triggers = (Trigger("all", "lift", 0.8), Trigger("all", "drop", -0.5, True))
    assert read(TEXT).correctives == (Corrective("skew", triggers),)


def test_an_edit_of_a_recipe_leaves_the_lines_of_correctives() -> None:
    text = document_text(set_cell(read(TEXT), "call", Cell("all", "drop", 0.5)), Path("."))
    begin, end = TEXT.index("# from the quay"), TEXT.index("[recipes.call]")
    assert TEXT[begin:end] in text and "# first" in text and "# second" in text


def test_an_edit_of_correctives_keeps_the_comments_of_others() -> None:
    added = set_corrective(read(TEXT), Corrective("au1_left", (Trigger("all", "lift", 0.5),)))
    text = document_text(added, Path("."))
    assert read(text).correctives == added.correctives
    assert "# first" in text and "# second" in text


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("at = 0.8", "at = 0", "corrective 'skew' is at 0"),
        ("at = 0.8", "at = 5", "needs at to be a number from -1 to 2"),
        (", at = 0.8", "", "needs a region, a shape and `at`"),
        ('shape = "skew"\n', "", "names no shape"),
        ("at = 0.8", 'at = 0.8, when = "now"', "unknown key"),
        ("mirrored = true", "mirrored = 1", "true or false"),
    ],
)
def test_what_is_no_corrective_is_refused_in_one_line(old: str, new: str, words: str) -> None:
    with pytest.raises(MoueError, match=words) as told:
        read(TEXT.replace(old, new, 1))
    assert "document.toml" in str(told.value) and "\n" not in str(told.value)


@pytest.mark.parametrize(
    ("corrective", "words"),
    [
        (Corrective("gone", (Trigger("all", "lift", 1.0),)), "no shape is named 'gone'"),
        (Corrective("skew", (Trigger("all", "gone", 1.0),)), "corrective skew: no shape is named 'gone'"),
        (Corrective("skew", (Trigger("brow", "lift", 1.0),)), "no region is named 'brow'.*brow_left"),
    ],
)
def test_a_corrective_that_does_not_fit_the_head_is_refused(corrective: Corrective, words: str) -> None:
    project = small_project().with_(correctives=(corrective,))
    with pytest.raises(MoueError, match=words):
        EvaluatedDocument(project, HEAD)._made()


def test_a_pose_has_its_correctives_and_the_board_their_weights(tmp_path: Path) -> None:
    plain = EvaluatedDocument(small_project(), HEAD)
    recipe = plain.project.recipe("doubt")
    fix = np.random.default_rng(5).normal(size=HEAD.neutral.shape).astype(np.float32)
    triggers = (Trigger("all", "lift", 0.3), Trigger("brow_left", "au1_left", 0.8 * 0.7), Trigger("upper", "drop", 0.5))
    project = set_corrective(keep_shape(plain.project, "fix", fix), Corrective("fix", triggers))
    evaluated = plain.again(project)
    np.testing.assert_allclose(evaluated.pose(recipe), plain.pose(recipe) + fix, atol=1e-9)
    assert evaluated.corrective_weights(recipe) == {"fix": 1.0}
    assert evaluated.corrective_weights(project.recipe("call")) == {"fix": 0.0}
    save_document(project, tmp_path / "clock.moue")
    again = EvaluatedDocument(open_document(tmp_path / "clock.moue"), HEAD)
    assert again.pose(recipe).tobytes() == evaluated.pose(recipe).tobytes()


def test_triggers_follow_their_region() -> None:
    one, two = (Corrective(n, (Trigger(r, "lift", 1.0),)) for n, r in (("skew", "upper"), ("drop", "dots")))
    project = small_project().with_(correctives=(one, two))
    renamed = rename_region(project, "upper", "crown")
    assert renamed.correctives[0].triggers[0].region == "crown" and renamed.correctives[1] == two
    assert delete_region(project, "upper").correctives == (two,)
    raw = EvaluatedDocument(project, HEAD).raw["upper"]
    cut = split_region(project, "upper", raw, HEAD.neutral[:, 0], 10.0)
    assert cut.correctives[0].triggers[0].region == "upper_left"


def test_a_kept_shape_that_a_corrective_uses_stays() -> None:
    project = keep_shape(small_project(), "fix", np.zeros(HEAD.neutral.shape))
    project = set_corrective(project, Corrective("fix", (Trigger("all", "lift", 1.0),)))
    with pytest.raises(MoueError, match="used by corrective 'fix'"):
        delete_kept_shape(project, "fix")


def test_correctives_that_trigger_each_other_are_refused_where_the_document_lies() -> None:
    project = set_corrective(small_project(), Corrective("skew", (Trigger("all", "drop", 1.0),)))
    with pytest.raises(MoueError, match="clock.moue: correctives 'skew', 'drop' trigger each other"):
        set_corrective(project, Corrective("drop", (Trigger("all", "skew", 1.0),)))
