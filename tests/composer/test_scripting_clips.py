"""Clips and tables from Python: what the calls give is what the files and the command say."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import composer
from composer.checks.finding import SEVERITIES
from composer.errors import MoueError
from tests.composer.document.test_clips import folder

__all__ = ["folder"]
"""A document with a small library, a clip `talk` from a CSV and a clip `tide` from keys."""


def test_a_clip_is_baked_compared_and_checked(folder: Path, tmp_path: Path) -> None:
    document = composer.open_document(folder / "document.toml")
    (file,) = composer.bake_clip(document, "talk", tmp_path / "frames")
    compared = composer.compare_clip(document, "talk", file)
    assert len(compared.frames) == 25 and compared.worst.worst_mm < 1e-9
    with np.load(file) as held:
        arrays = dict(held)
    arrays["frames"][11, 3] += [0.0, 2.0, 0.0]
    np.savez(tmp_path / "moved.npz", **arrays)
    worst = composer.compare_clip(document, "talk", tmp_path / "moved.npz").worst
    assert (worst.number, worst.vertex) == (11, 3) and worst.worst_mm == pytest.approx(2.0)
    checked = composer.check_clip(document, "talk")
    assert len(checked.frames) == 25 and all(one.finding.severity in SEVERITIES for one in checked.faults)
    with pytest.raises(MoueError, match="no clip is named 'tlak'; did you mean talk"):
        composer.check_clip(document, "tlak")


def test_tables_go_out_and_come_back(folder: Path, tmp_path: Path) -> None:
    document = composer.open_document(folder / "document.toml")
    files = composer.write_tables(document, tmp_path / "tables")
    names = {file.name for file in files}
    assert {"recipes.csv", "recipes.json"} & names
    path = next(file for file in files if file.name == "recipes.csv")
    louder = path.read_text().replace("0.5", "0.75")
    path.write_text(louder)
    changed = composer.take_table(document, path)
    assert changed.project.recipes[0].cells[0].weight == 0.75
    assert document.project.recipes[0].cells[0].weight == 0.5
    assert json.loads((tmp_path / "tables/moue-tables.json").read_text())
