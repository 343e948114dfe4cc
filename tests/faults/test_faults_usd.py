"""Broken USD: one clear line that names the file and the prim, never another exception, and nothing printed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from composer.errors import MoueError
from composer.formats import standing, usd_apart
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.head import InBetween, Shape
from tests.small_heads import CUBE, CUBE_CORNERS

SKIN = """#usda 1.0
( metersPerUnit = 0.01 )
def SkelRoot "head" {
    def Mesh "skin" (prepend apiSchemas = ["SkelBindingAPI"]) {
        point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
        int[] faceVertexCounts = [3]
        int[] faceVertexIndices = [0, 1, 2]
        texCoord2f[] primvars:st = [(0, 0), (1, 0), (0, 1)] ( interpolation = "faceVarying" )
        int[] primvars:st:indices = [0, 1, 2]
        uniform token[] skel:blendShapes = ["grin", "frown"]
        rel skel:blendShapeTargets = [</head/grin>, </head/frown>]
        def GeomSubset "lid" {
            int[] indices = [0]
        }
    }
    def BlendShape "grin" {
        uniform vector3f[] offsets = [(0, 0, 1)]
        uniform int[] pointIndices = [1]
        uniform vector3f[] inbetweens:half = [(0, 1, 0)] ( weight = 0.5 )
        uniform vector3f[] inbetweens:most = [(0, 1, 1)] ( weight = 0.75 )
    }
    def BlendShape "frown" {
        uniform vector3f[] offsets = [(0, 0, 0), (0, 0, 0), (0, 0, -1)]
    }
}
"""
FAULTS = {
    "no points": ("point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]", "", "/head/skin has no points"),
    "empty points": ("points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]", "points = []", "/head/skin has no points"),
    "a point that is no number": ("(0, 1, 0)]\n        int", "(0, nan, 0)]\n        int", "skin vertex 2"),
    "a point far out": ("(0, 1, 0)]\n        int", "(0, 1e30, 0)]\n        int", "further from the origin than"),
    "no polygons": ("int[] faceVertexCounts = [3]", "", "/head/skin has no polygons"),
    "counts that do not add up": ("Counts = [3]", "Counts = [4]", "polygons of 4 corners together and 3 indices"),
    "counts that are huge": ("Counts = [3]", "Counts = [2000000000, 2000000000]", "4000000000 corners"),
    "counts below zero": ("Counts = [3]", "Counts = [-3]", "corners together"),
    "a polygon of two": ("Counts = [3]", "Counts = [2, 1]", "fewer than three corners"),
    "a vertex that is not there": ("Indices = [0, 1, 2]\n        tex", "Indices = [0, 1, 7]\n        tex", "vertex 7"),
    "a vertex below zero": ("Indices = [0, 1, 2]\n        tex", "Indices = [0, 1, -2]\n        tex", "vertex -2"),
    "texture indices that are not there": ("st:indices = [0, 1, 2]", "st:indices = [0, 1, 9]", "primvars:st"),
    "too few texture indices": ("st:indices = [0, 1, 2]", "st:indices = [0, 1]", "2 primvars:st for 3 corners"),
    "a group with a polygon too many": ("indices = [0]\n", "indices = [5]\n", "/head/skin/lid has polygon 5"),
    "fewer targets than names": ("[</head/grin>, </head/frown>]", "</head/grin>", "names 2 blend shapes and has 1"),
    "a target that is none": ("</head/frown>]", "</head/skin>]", "names /head/skin, which is not a blend shape"),
    "a target that is not there": ("</head/frown>]", "</head/smirk>]", "names /head/smirk, which is not a blend shape"),
    "two of one name": ('["grin", "frown"]', '["grin", "grin"]', "two blend shapes named 'grin'"),
    "no offsets": ("uniform vector3f[] offsets = [(0, 0, 1)]", "", "/head/grin is a blend shape without offsets"),
    "offsets for fewer points": ("offsets = [(0, 0, 1)]", "offsets = [(0, 0, 1), (1, 1, 1)]", "2 offsets for 1 points"),
    "too few for all points": ("(0, 0, 0), (0, 0, -1)]", "(0, 0, -1)]", "2 offsets for 3 points"),
    "an offset that is no number": ("offsets = [(0, 0, 1)]", "offsets = [(0, nan, 1)]", "shape 'grin', offset 0"),
    "a moved point that is not there": ("pointIndices = [1]", "pointIndices = [3]", "moves point 3 of a mesh of 3"),
    "a moved point below zero": ("pointIndices = [1]", "pointIndices = [-1]", "moves point -1"),
    "an in-between at 0": ("weight = 0.5", "weight = 0", "inbetweens:half at weight 0, where the neutral is"),
    "an in-between at 1": ("weight = 0.5", "weight = 1", "at weight 1, where the shape itself is"),
    "two in-betweens at one weight": ("weight = 0.75", "weight = 0.5", "where inbetweens:half is"),
    "an in-between at no weight": ("( weight = 0.75 )", "", "inbetweens:most at no weight"),
    "an in-between at a weight that is no number": ("weight = 0.75", "weight = inf", "at no weight"),
    "an in-between of other points": ("half = [(0, 1, 0)]", "half = [(0, 1, 0), (0, 0, 0)]", "2 inbetweens:half"),
    "a length that is none": ("metersPerUnit = 0.01", "metersPerUnit = 0", "metersPerUnit 0"),
    "a file that is not there": ('def SkelRoot', 'def "x" (references = @gone.usda@) {\n}\ndef SkelRoot',
                                 "gone.usda, which cannot be opened"),
    "a file that refers to itself": ('def SkelRoot "head" {', 'def SkelRoot "head" (references = </head/skin>) {',
                                 "refers to itself"),
    "a text cut short": ("    def BlendShape", "    def (", "is not a complete USD file"),
    "no mesh": ('def Mesh "skin"', 'def Scope "skin"', "holds no mesh"),
    "points of another kind": ("point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]", "string points = 'here'", ""),
    "a transform that flattens": ("point3f[] points", "float3 xformOp:scale = (0, 0, 0)\n        uniform token[] "
                                  'xformOpOrder = ["xformOp:scale"]\n        point3f[] points', "cannot be undone"),
}  # fmt: skip


def test_the_whole_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.usda").write_text(SKIN)
    mesh = read_mesh(tmp_path / "a.usda")
    assert mesh.n_vertices == 3 and [len(s.inbetweens) for s in mesh.shapes] == [2, 0]


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_one_line(fault: str, tmp_path: Path, capfd: pytest.CaptureFixture) -> None:
    old, new, words = FAULTS[fault]
    assert old in SKIN
    path = tmp_path / "a.usda"
    path.write_text(SKIN.replace(old, new, 1))
    with pytest.raises(MoueError) as caught:
        read_mesh(path)
    line = str(caught.value)
    assert len(line) <= 200 and "\n" not in line and line.startswith(str(path))
    assert words in line
    assert "".join(capfd.readouterr()) == ""


@pytest.mark.parametrize("suffix", [".usdc", ".usdz", ".usda"])
def test_spoilt_and_shortened_files_are_refused_or_still_a_mesh(suffix: str, tmp_path: Path) -> None:
    shape = Shape("grin", np.ones((8, 3), np.float32), (InBetween(0.5, np.ones((8, 3), np.float32)),))
    write_mesh(tmp_path / f"a{suffix}", Mesh(CUBE, CUBE_CORNERS, shapes=(shape,), unit="cm"))
    whole, rng = (tmp_path / f"a{suffix}").read_bytes(), np.random.default_rng(0)
    for i in range(60):
        octets = np.frombuffer(whole, np.uint8).copy()
        at = rng.integers(0, len(octets), rng.integers(1, 5))
        octets[at] = rng.integers(0, 256, len(at))
        cut = i % 8 != 0 or suffix == ".usda"
        path = tmp_path / f"{i}{suffix}"
        path.write_bytes(octets.tobytes()[: rng.integers(0, len(octets))] if cut else octets.tobytes())
        try:
            read_mesh(path)
        except MoueError as error:
            assert len(str(error)) <= 200 and path.name in str(error)


WAYS = [True, False] if standing.CAN_FORK else [False]
"""Whether a process that stands ready reads a binary file, or one of its own."""


@pytest.mark.parametrize("stands", WAYS)
def test_a_reader_that_dies_is_one_line(stands: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_mesh(tmp_path / "a.usdc", Mesh(CUBE, CUBE_CORNERS, unit="cm"))
    monkeypatch.setattr(standing, "CAN_FORK", stands)
    for code in ("CHILD", "STANDING"):
        monkeypatch.setattr(usd_apart, code, "import os; os.abort()")
    with pytest.raises(MoueError, match="a.usdc: is damaged: USD's own reader crashes on it"):
        read_mesh(tmp_path / "a.usdc")


@pytest.mark.parametrize("stands", WAYS)
def test_a_package_and_a_binary_file_pass_on_their_own_line(
    stands: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pxr import Usd

    monkeypatch.setattr(standing, "CAN_FORK", stands)
    (tmp_path / "a.usda").write_text(SKIN.replace("Counts = [3]", "Counts = [4]"))
    Usd.Stage.Open(str(tmp_path / "a.usda")).Export(str(tmp_path / "b.usdc"))
    with pytest.raises(MoueError) as caught:
        read_mesh(tmp_path / "b.usdc")
    words = f"{tmp_path / 'b.usdc'}: /head/skin has polygons of 4 corners together and 3 indices"
    assert str(caught.value) == words
