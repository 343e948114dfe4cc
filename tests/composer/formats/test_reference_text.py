"""A target read beside its reference says what Python's own `float` says of its lines, whatever the text looks like."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats.target import TargetReader

SIDE = 6


def grid_text(moved: int = -1, end: str = "\n", digits: int = 4) -> str:
    """A sheet of quads; the vertex numbered `moved` is raised by 1.25."""
    lines = ["# a sheet"]
    for i in range(SIDE * SIDE):
        x, y = divmod(i, SIDE)
        lines.append(f"v {x / 3:.{digits}f} {y / 7:.{digits}f} {1.25 if i == moved else 0.0:.{digits}f}")
    lines += [f"vt {i / 9:.3f} 0.5" for i in range(4)]
    for x in range(SIDE - 1):
        for y in range(SIDE - 1):
            a = SIDE * x + y + 1
            lines.append(f"f {a}/1 {a + 1}/2 {a + SIDE + 1}/3 {a + SIDE}/4")
    return end.join([*lines, ""])


OTHERS = {
    "the same": grid_text(),
    "one vertex": grid_text(moved=7),
    "the last vertex": grid_text(moved=SIDE * SIDE - 1),
    "other digits": grid_text(digits=6),
    "other comment": "# words of another length\n" + grid_text(moved=3),
    "exponents": grid_text(moved=5).replace("1.2500", "12.5e-1"),
    "carriage returns": grid_text(moved=5, end="\r\n"),
    "continued": grid_text(moved=5).replace(" 1.2500", " \\\n1.2500"),
    "colours": grid_text(moved=5).replace("1.2500", "1.2500 0.1 0.2 0.3"),
    "other texture": grid_text(moved=5).replace("vt 0.111 0.5", "vt 0.112 0.5"),
    "polygons first": "f 1/1 2/2 8/3 7/4\n" + grid_text(moved=5).replace("\nf 1/1 2/2 8/3 7/4", "", 1),
}


def said(text: str) -> np.ndarray:
    """The vertices as `float` reads them, line by line."""
    lines = [line.split() for line in text.replace("\\\n", " ").splitlines()]
    return np.array([[float(word) for word in line[1:4]] for line in lines if line and line[0] == "v"])


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("kind", OTHERS)
def test_positions_are_those_of_the_text(tmp_path: Path, kind: str, end: str) -> None:
    (tmp_path / "rest.obj").write_bytes(grid_text(end=end).encode())
    (tmp_path / "other.obj").write_bytes(OTHERS[kind].encode())
    reference = TargetReader(tmp_path / "rest.obj").target()
    reader = TargetReader(tmp_path / "other.obj", reference)
    np.testing.assert_array_equal(reader.positions, said(OTHERS[kind]))
    assert reader.same_polygons_as(reference)


def test_a_fault_has_its_line_and_other_polygons_are_told(tmp_path: Path) -> None:
    (tmp_path / "rest.obj").write_text(grid_text())
    reference = TargetReader(tmp_path / "rest.obj").target()
    place = grid_text(moved=9).splitlines().index("v 0.3333 0.4286 1.2500") + 1
    (tmp_path / "bad.obj").write_text(grid_text(moved=9).replace("1.2500", "1.25x0"))
    with pytest.raises(MoueError, match="is not a number") as told:
        _ = TargetReader(tmp_path / "bad.obj", reference).positions
    assert told.value.line == place
    (tmp_path / "turned.obj").write_text(grid_text(moved=9).replace("f 1/1 2/2 8/3 7/4", "f 1/1 7/4 8/3 2/2"))
    assert not TargetReader(tmp_path / "turned.obj", reference).same_polygons_as(reference)
    (tmp_path / "fewer.obj").write_text(grid_text().replace("v 0.3333 0.4286 0.0000\n", ""))
    fewer = TargetReader(tmp_path / "fewer.obj", reference)
    assert len(fewer.positions) == SIDE * SIDE - 1 and not fewer.same_polygons_as(reference)
