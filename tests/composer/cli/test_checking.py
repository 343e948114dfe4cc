"""`moue check` and `moue try` on a small document, as a person types them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import typer
from PIL import Image

from composer.cli.check import check
from composer.cli.trials import try_
from composer.demo.write import write_library
from composer.document.store import open_document
from composer.errors import MoueError
from composer.head.head import Shape
from tests.composer.checks.check_heads import is_lower, lips_head

RECIPES = """
[regions.upper]
from = "vertices"
vertices = {upper}
[regions.lower]
from = "vertices"
vertices = {lower}
[recipes.lift]
cells = [{{ region = "all", shape = "lift", weight = 1.0 }}]
[recipes.drop]
cells = [{{ region = "all", shape = "drop", weight = 1.0 }}]
[recipes.both]
cells = [
  {{ region = "all", shape = "drop", weight = 1.0 }},
  {{ region = "lower", shape = "lift", weight = 1.0 }},
]
"""


@pytest.fixture
def document(tmp_path: Path) -> Path:
    """Two lips 2 mm apart; lift and drop each bring one of them 1.4 mm nearer, so that they meet together only."""
    head = lips_head(gap=2.0)
    low = is_lower(head)
    up, down = np.where(low[:, None], [0.25, 1.4, 0.0], 0.0), np.where(low[:, None], 0.0, [0.0, -1.4, 0.0])
    head = head.with_(shapes=(Shape("lift", up.astype(np.float32)), Shape("drop", down.astype(np.float32))))
    write_library(tmp_path / "lips", head)
    text = RECIPES.format(upper=np.flatnonzero(~low).tolist(), lower=np.flatnonzero(low).tolist())
    path = tmp_path / "document.toml"
    path.write_text(f'moue = 1\nunit = "mm"\nhead = "lips"\nneutral = "neutral"\n{text}')
    return path


def run(call, document, **options):
    """The command with the defaults of its options; its exit code."""
    try:
        call(document, **options)
    except typer.Exit as exit_:
        return exit_.exit_code
    return 0


def test_check_alone_finds_the_recipe_that_presses_its_lips_and_names_it(document, tmp_path):
    assert run(check, document, json_file=str(tmp_path / "found.json")) == 1
    found = json.loads((tmp_path / "found.json").read_text())
    assert [f["code"] for f in found["both"] if f["severity"] == "error"] == ["lips.through"]
    assert not [f for name in ("lift", "drop") for f in found[name] if f["severity"] != "note"]
    assert found["both"][0]["place"] is not None and found["both"][0]["where"] == "the lips"


def test_check_with_pairs_finds_two_recipes_and_two_cells_that_meet(document, tmp_path, capsys):
    page = tmp_path / "report.html"
    assert run(check, document, recipe=["lift", "drop"], sweep=5, pairs=True, cells=True, report=page) == 1
    said = capsys.readouterr().out
    assert "lift with drop: 1 finding\n" in said and "together only" in said
    text = page.read_text(encoding="utf-8")
    assert "lift with drop" in text and "<script" not in text and "http" not in text
    assert run(check, document, recipe=["both"], cells=True) == 1
    assert "both: all x drop with lower x lift" in capsys.readouterr().out


def test_try_draws_a_sheet_of_each_kind(document, tmp_path, capsys):
    for name, options in {
        "sweep": {"sweep": "lower:lift", "steps": 3, "high": 2.0},
        "pairs": {"pairs": True},
        "worst": {"random": 4, "cells": 2, "keep_worst": 2, "keep_in": tmp_path / "worst.moue"},
    }.items():
        sheet, findings = tmp_path / f"{name}.png", tmp_path / f"{name}.json"
        assert run(try_, document, to=sheet, json_file=str(findings), **options) == 0
        assert Image.open(sheet).size[0] > 300
        said = json.loads(findings.read_text())
        assert len(said) == {"sweep": 3, "pairs": 3, "worst": 2}[name]
        if name == "sweep":
            assert [one["name"] for one in said] == ["0", "1", "2"]
        if name == "pairs":
            hit = {one["name"] for one in said if any(f["code"] == "lips.through" for f in one["findings"])}
            assert "lift with drop" in hit
    kept = open_document(tmp_path / "worst.moue")
    assert [recipe.name for recipe in kept.recipes] == [one["name"] for one in said]
    assert run(check, tmp_path / "worst.moue") in (0, 1)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "one trial at a time"),
        ({"pairs": True, "random": 3}, "one trial at a time"),
        ({"sweep": "lower"}, "names no cell"),
        ({"sweep": "lowr:lift"}, "did you mean lower"),
        ({"sweep": "lower:lft"}, "did you mean lift"),
        ({"sweep": "lower:lift", "low": 1.0, "high": 0.0}, "--low 1 is above --high 0"),
        ({"sweep": "lower:lift", "recipe": ["lift", "drop"]}, "takes one recipe"),
        ({"pairs": True, "recipe": ["lift"]}, "fewer than two"),
        ({"pairs": True, "keep_in": Path("x.moue")}, "only random combinations"),
        ({"random": 2, "keep_in": Path("x.txt")}, "not named as a document"),
    ],
    ids=str,
)  # fmt: skip
def test_wrong_trials_are_one_line(document, tmp_path, options, words):
    with pytest.raises(MoueError, match=words) as told:
        run(try_, document, to=tmp_path / "x.png", **options)
    assert len(str(told.value)) < 220 and "\n" not in str(told.value)
    assert not (tmp_path / "x.png").exists()


def test_a_sweep_is_an_animated_picture_that_goes_there_and_back(document, tmp_path):
    to = tmp_path / "sweep.webp"
    assert run(try_, document, sweep="lower:lift", steps=3, to=to) == 0
    with Image.open(to) as moving:
        shown = []
        for number in range(moving.n_frames):
            moving.seek(number)
            shown.append(np.asarray(moving.convert("RGB")).astype(int))
    assert len(shown) == 4
    assert np.abs(shown[1] - shown[3]).mean() < 0.5 < np.abs(shown[0] - shown[2]).mean()
    with pytest.raises(MoueError, match="not named as a picture"):
        try_(document, pairs=True, to=to)


def test_a_sheet_is_never_written_over_the_document(document, tmp_path):
    with pytest.raises(MoueError):
        run(try_, document, to=document, pairs=True)
    taken = tmp_path / "taken.moue"
    taken.write_bytes(b"")
    with pytest.raises(MoueError, match="is there already"):
        run(try_, document, to=tmp_path / "x.png", random=2, keep_in=taken)
