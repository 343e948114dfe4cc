"""`moue join` as a person types it: the figures in words and as JSON, a picture, and one line for a mistake."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner, Result

from composer.cli.join import join
from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.registry import write_mesh
from tests.small_heads import grid

DOCUMENT = """moue = 1
unit = "mm"
head = "library"
[regions.right]
from = "file"
file = "right.npy"
[recipes.lifted]
cells = [ { region = "right", shape = "lift", weight = 1.0 } ]
[recipes.whole]
cells = [ { region = "all", shape = "lift", weight = 1.0 } ]
"""


@pytest.fixture
def document(tmp_path: Path) -> Path:
    x, y = np.meshgrid(np.linspace(-40, 40, 21), np.linspace(-40, 40, 21), indexing="ij")
    rest = np.stack([x.ravel(), y.ravel(), 0.01 * x.ravel() ** 2], axis=1)
    (tmp_path / "library").mkdir()
    for name, points in (("neutral", rest), ("lift", rest + [0.0, 2.0, 9.0])):
        write_mesh(tmp_path / f"library/{name}.obj", Mesh(grid(21, 21), points))
    t = np.clip(rest[:, 0] / 20.0 + 0.5, 0.0, 1.0)
    np.save(tmp_path / "right.npy", t * t * (3.0 - 2.0 * t))
    (tmp_path / "document.toml").write_text(DOCUMENT)
    return tmp_path / "document.toml"


def run(*words: object) -> Result:
    app = typer.Typer()
    app.command()(join)
    return CliRunner().invoke(app, [str(word) for word in words])


def test_the_joins_are_told_side_by_side(document: Path) -> None:
    done = run(document)
    assert done.exit_code == 0, done.output
    told = ("linear", "widened", "seamless", "9.2 mm meet within", "a ramp of 31 mm would do", "whole: every join")
    for words in told:
        assert words in done.stdout


def test_as_json_and_as_a_picture(document: Path, tmp_path: Path) -> None:
    done = run(document, "--recipe", "lifted", "--json", tmp_path / "join.json", "--to", tmp_path / "join.png")
    assert done.exit_code == 0, done.output
    (report,) = json.loads((tmp_path / "join.json").read_text())
    assert report["recipe"] == "lifted" and report["ramp"]["region"] == "right"
    assert report["seamless"]["p95"] < report["linear"]["p95"]
    assert (tmp_path / "join.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "told"),
    [(("--recipe", "lifed"), "did you mean"), (("--view", "frnt"), "did you mean"), (("--to", "joins.jpg"), ".png")],
)
def test_a_mistake_is_told(document: Path, words: tuple[str, str], told: str) -> None:
    error = run(document, *words).exception
    assert isinstance(error, MoueError) and told in str(error)
