"""Normals of moved polygons, by Newell's area vectors on cases known at sight."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from composer.formats.obj_normals import corner_normals
from composer.formats.obj_text import ObjText
from composer.formats.registry import read_mesh

SQUARE = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])


def test_a_square_looks_up_and_a_polygon_without_area_nowhere() -> None:
    counts = np.array([4, 3], dtype=np.int32)
    vertices = np.array([0, 1, 2, 3, 0, 1, 1], dtype=np.int32)
    normals = np.array([0, 0, 0, 0, 1, 1, 1], dtype=np.int32)
    made, renewed = corner_normals(counts, vertices, normals, SQUARE, np.ones(4, dtype=bool), 3)
    np.testing.assert_allclose(made, [[0, 0, 1], [0, 0, 0], [0, 0, 0]], atol=1e-15)
    assert renewed.tolist() == [True, True, False]


def test_no_normal_of_length_zero_is_written(tmp_path: Path) -> None:
    # A face that a target closes to a line has no normal: its old one stays, for 0 0 0 is none.
    path = tmp_path / "neutral.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nvn 0 0 1\nf 1//1 2//1 3//1 4//1\n")
    out = tmp_path / "target.obj"
    ObjText(path).write(out, read_mesh(path).positions * [1.0, 0.0, 0.0])
    lines = [line for line in out.read_text().splitlines() if line.startswith("vn")]
    assert all(np.linalg.norm([float(v) for v in line.split()[1:]]) > 0.9 for line in lines)
