"""Zones of a fit in the file of its landmarks: what is written is read again, on the same topology alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from composer.errors import MoueError
from composer.head.fit_zones import FitZones
from composer.head.landmark_file import read_landmark_pairs, read_zones, write_landmarks
from composer.head.landmarks import Landmarks
from tests.small_heads import CUBE, grid

SHEET = grid(4, 5)
amounts = hnp.arrays(np.float64, SHEET.n_vertices, elements=st.floats(0.0, 1.0))


@pytest.mark.parametrize("suffix", ["toml", "json"])
@given(form=amounts, still=amounts)
def test_zones_are_read_as_they_were_written(
    form: np.ndarray, still: np.ndarray, suffix: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    file = tmp_path_factory.mktemp("zones") / f"marks.{suffix}"
    zones = FitZones().with_("form", form).with_("still", still)
    marks = Landmarks({"pronasale": 3}, {"brow_left": [1, 2]})
    write_landmarks(file, marks, marks, zones=zones.table(SHEET))
    assert read_zones(file, SHEET).same_as(zones)
    assert read_landmark_pairs(file) == (marks, marks)
    for name, given_values in (("form", form), ("still", still)):
        kept = getattr(zones, name)
        kept = np.zeros(SHEET.n_vertices) if kept is None else kept
        assert np.abs(kept - given_values).max() <= 0.5e-3 + 1e-12


def test_a_file_without_zones_has_none(tmp_path: Path) -> None:
    file = tmp_path / "marks.toml"
    write_landmarks(file, Landmarks({"pronasale": 3}), zones=FitZones().table(SHEET))
    assert not read_zones(file, SHEET) and "zones" not in file.read_text()


def test_a_landmark_may_be_called_zones(tmp_path: Path) -> None:
    file = tmp_path / "marks.toml"
    file.write_text("zones = 4\n")
    assert read_landmark_pairs(file)[0].points == {"zones": 4} and not read_zones(file, SHEET)


def test_zones_of_another_topology_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "marks.toml"
    write_landmarks(file, Landmarks({"a": 0}), zones=FitZones().with_("form", np.ones(8)).table(CUBE))
    with pytest.raises(MoueError, match="another topology"):
        read_zones(file, SHEET)


@pytest.mark.parametrize("entry", [
    "[1, 2]", "{ vertices = [1, 2], amounts = [0.5] }", "{ vertices = [99], amounts = [0.5] }",
    "{ vertices = [1], amounts = [1.5] }", "{ vertices = [true], amounts = [0.5] }",
    '{ vertices = [1], amounts = ["1"] }',
])  # fmt: skip
def test_what_is_no_zone_is_refused_by_name(entry: str, tmp_path: Path) -> None:
    table = FitZones().with_("form", np.ones(SHEET.n_vertices)).table(SHEET)
    file = tmp_path / "marks.toml"
    file.write_text(f'[zones]\ntopology = "{table["topology"]}"\nstill = {entry}\n')
    with pytest.raises(MoueError, match="still"):
        read_zones(file, SHEET)
