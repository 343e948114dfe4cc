"""A library written to a folder is read back as it was."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from composer.demo.write import inbetween_name, write_library
from composer.errors import MoueError
from composer.formats.library import open_library
from tests.composer.demo.library_fixtures import face


@pytest.mark.parametrize("unit", ["mm", "cm"])
def test_a_written_library_reads_back(tmp_path: Path, unit: str) -> None:
    head = face("keeper").head
    few = replace(head, shapes=tuple(head.shape(name) for name in ("au12_left", "au43_left", "laugh")))
    paths = write_library(tmp_path / "keeper", few, unit)
    assert all(path.exists() for path in paths)
    back = open_library(tmp_path / "keeper", unit=unit)
    assert set(back.shape_names) == {"au12_left", "au43_left", "laugh"} | {
        inbetween_name(n, 0.5) for n in ("au12_left", "au43_left")
    }
    np.testing.assert_array_equal(back.polygons.indices, head.polygons.indices)
    for shape in few.shapes:
        np.testing.assert_allclose(back.target(shape.name), few.target(shape.name), atol=1e-6 * head.diagonal)
    assert back.landmarks is not None
    assert back.landmarks.points == head.landmarks.points
    motions = (tmp_path / "keeper" / "head_motion.csv").read_text().splitlines()
    assert [row.split(",")[0] for row in motions[1:]] == ["laugh"]


def test_a_folder_that_cannot_be_made_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(MoueError, match="folder"):
        write_library(tmp_path / "taken", face("keeper").head)
