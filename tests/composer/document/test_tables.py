"""A text cut at its tables is the text; an edit of one table leaves every other line, and a wrong cut is found out."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from composer.document.project import Project, Region
from composer.document.read import parse_document
from composer.document.tables import cut
from composer.document.text import document_text
from composer.edits.cells import set_cell
from composer.edits.recipes import add_recipe, delete_recipe, set_note
from composer.edits.regions import add_region
from composer.mixing.recipe import Cell, Recipe

LINES = ["[regions.a]", "[recipes.b] # x", "[recipes.b.rows.c]", "[landmarks]", "# said", "", "x = 1", " [ parts . d ]"]
TEXT = """# the tide clock
moue = 1
head = "library"

# the brow
[regions.brow]
from = "file"   # by hand
file = "masks/brow.npy"

# the first take
[recipes.doubt]
cells = [ { region = "brow", shape = "lift", weight = 1.0 } ]  # one
[recipes.doubt.rows.brow]
kind = "replace"

# the second
[recipes.call]   # loud
note = '''
[recipes.doubt]
[regions.chin]
'''
"""


def read(text: str = TEXT) -> Project:
    return parse_document(text.encode(), Path("document.toml"))


@given(st.lists(st.sampled_from(LINES), max_size=12), st.sampled_from(["\n", "\r\n"]))
def test_the_tables_of_a_text_are_the_text(lines: list[str], end: str) -> None:
    text = end.join(lines)
    tables = cut(text, ("regions", "recipes", "parts"))
    assert tables is None or tables.text == text


def test_a_table_takes_its_subtables_and_the_comment_above() -> None:
    tables = cut(TEXT.partition("# the second")[0], ("regions", "recipes"))
    assert tables is not None and list(tables.texts) == [("", "0"), ("regions", "brow"), ("recipes", "doubt")]
    assert tables.texts["recipes", "doubt"].startswith("# the first take\n[recipes.doubt]")
    assert "[recipes.doubt.rows.brow]" in tables.texts["recipes", "doubt"]
    assert cut("[[regions]]\n", ("regions",)) is None and cut("[regions.a]\n[x]\n[regions.a]\n", ("regions",)) is None


def test_one_edit_leaves_every_other_line() -> None:
    plain = TEXT.partition("# the second")[0] + '# the second\n[recipes.call]   # loud\nnote = "ho"\n'
    project = read(plain)
    more = set_cell(project, "call", Cell("all", "lift", 0.25))
    text = document_text(more, Path())
    assert text.startswith(plain) and read(text).recipes == more.recipes
    project = add_region(add_recipe(more, Recipe("wait")), Region("chin", {"from": "vertices", "vertices": [1]}))
    text = document_text(project, Path())
    assert text.startswith(plain) and read(text).regions == project.regions
    text = document_text(delete_recipe(read(plain), "doubt"), Path())
    assert text == plain.replace(plain[plain.index("# the first") : plain.index("# the second")], "")


def test_a_line_that_looks_like_a_table_does_no_harm() -> None:
    project = set_cell(read(), "doubt", Cell("all", "lift", 0.25))
    again = read(document_text(project, Path()))
    assert again.recipes == project.recipes and again.regions == project.regions
    for comment in ("# the tide clock", "# the brow", "# by hand", "# the first take", "# one", "# loud"):
        assert comment in document_text(set_note(project, "call", "hush"), Path())
