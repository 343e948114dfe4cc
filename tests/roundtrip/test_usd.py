"""USD gives back what it says it keeps, and reads what other programs write, as the schemas word it."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from composer.document.bake import bake
from composer.document.evaluated import EvaluatedDocument
from composer.formats.library import open_library
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.formats.usd_read import read_stage
from composer.geometry.polygons import Polygons
from composer.head.head import InBetween, Shape
from tests.composer.document.small_document import small_head, small_project
from tests.small_files import meshes
from tests.small_heads import CUBE, CUBE_CORNERS

quiet = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
FORMS = [".usd", ".usda", ".usdc", ".usdz"]


def same_names(kept: dict, given_: dict) -> bool:
    return list(kept) == list(given_) and all(np.array_equal(kept[n], given_[n]) for n in given_)


@quiet
@given(mesh=meshes(shapes=True), suffix=st.sampled_from(FORMS))
def test_everything_comes_back_in_its_order(mesh: Mesh, suffix: str, tmp_path: Path) -> None:
    notes = write_mesh(tmp_path / f"a{suffix}", mesh)
    back = read_stage(tmp_path / f"a{suffix}")  # in this process: read_mesh starts another for what is binary
    assert not notes and not back.notes
    assert back.unit == mesh.unit and back.polygons.same_as(mesh.polygons)
    assert np.array_equal(back.positions, mesh.positions.astype(np.float32))
    assert [s.name for s in back.shapes] == [s.name for s in mesh.shapes]
    for kept, given_ in zip(back.shapes, mesh.shapes, strict=True):
        assert np.array_equal(kept.delta, given_.delta)
        assert [b.at for b in kept.inbetweens] == [b.at for b in given_.inbetweens]
        for one, other in zip(kept.inbetweens, given_.inbetweens, strict=True):
            assert np.array_equal(one.delta, other.delta)
    assert same_names(back.groups, mesh.groups) and same_names(back.materials, mesh.materials)
    assert (back.uv is None) == (mesh.uv is None) and (back.colours is None) == (mesh.colours is None)
    if mesh.uv is not None:
        assert np.array_equal(back.uv.indices, mesh.uv.indices) and np.allclose(back.uv.uv, mesh.uv.uv, atol=1e-7)
    if mesh.colours is not None:
        assert np.allclose(back.colours, mesh.colours, atol=1e-7)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(mesh=meshes(shapes=True), suffix=st.sampled_from(FORMS))
def test_the_same_mesh_gives_the_same_bytes(mesh: Mesh, suffix: str, tmp_path: Path) -> None:
    write_mesh(tmp_path / f"a{suffix}", mesh)
    write_mesh(tmp_path / f"b{suffix}", mesh)
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


def test_a_package_says_no_time_of_its_making(tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.usdz", Mesh(CUBE, CUBE_CORNERS, unit="mm"))
    with zipfile.ZipFile(tmp_path / "a.usdz") as package:
        assert [entry.date_time for entry in package.infolist()] == [(1980, 1, 2, 0, 0, 0)]


@pytest.mark.parametrize(("unit", "metres"), [("mm", 0.001), ("cm", 0.01), ("m", 1.0), ("in", 0.0254)])
def test_the_unit_is_the_stages(unit: str, metres: float, tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.usda", Mesh(CUBE, CUBE_CORNERS, unit=unit))
    assert f"metersPerUnit = {metres:g}" in (tmp_path / "a.usda").read_text()
    assert read_mesh(tmp_path / "a.usda").unit == unit


def test_names_that_usd_has_no_prims_for_come_back(tmp_path: Path) -> None:
    none = np.zeros((8, 3), np.float32)
    names = ("au 12/left", "au_12_left", "1", "Überraschung", "mesh")
    faces = {"lid.upper": np.array([0, 2], np.int32), "lid_upper": np.array([1], np.int32)}
    mesh = Mesh(CUBE, CUBE_CORNERS, groups=faces, shapes=tuple(Shape(name, none) for name in names), name="the keeper")
    write_mesh(tmp_path / "a.usda", mesh)
    back = read_mesh(tmp_path / "a.usda")
    assert [shape.name for shape in back.shapes] == list(names)
    assert same_names(back.groups, faces)


OTHER = """#usda 1.0
( defaultPrim = "world"
  metersPerUnit = 0.01
  upAxis = "Z" )
def Xform "world" {
    double3 xformOp:translate = (0, 0, 5)
    uniform token[] xformOpOrder = ["xformOp:translate"]
    def SkelRoot "head" {
        def Mesh "skin" (prepend apiSchemas = ["SkelBindingAPI", "MaterialBindingAPI"]) {
            float3 xformOp:scale = (2, 2, 2)
            uniform token[] xformOpOrder = ["xformOp:scale"]
            uniform token orientation = "leftHanded"
            point3f[] points.timeSamples = { 1: [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)] }
            int[] faceVertexCounts = [4]
            int[] faceVertexIndices = [3, 2, 1, 0]
            texCoord2f[] primvars:map_one = [(0, 0), (1, 0), (1, 1), (0, 1)] ( interpolation = "vertex" )
            rel material:binding = </world/bone>
            uniform token[] skel:blendShapes = ["grin"]
            rel skel:blendShapeTargets = </world/head/shapes/grin>
        }
        def Scope "shapes" {
            def BlendShape "grin" {
                uniform vector3f[] offsets = [(0, 0, 1)]
                uniform int[] pointIndices = [2]
                uniform vector3f[] inbetweens:half = [(0, 1, 0)] ( weight = 0.5 )
            }
            def BlendShape "grin_too" {
                uniform vector3f[] offsets = [(1, 0, 0), (0, 0, 0), (0, 0, 2)]
            }
        }
        def Mesh "eye" (prepend apiSchemas = ["SkelBindingAPI"]) {
            point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
            int[] faceVertexCounts = [3]
            int[] faceVertexIndices = [0, 1, 2]
            uniform token[] skel:blendShapes = ["grin"]
            rel skel:blendShapeTargets = </world/head/shapes/grin_too>
        }
        def Mesh "cage" {
            uniform token purpose = "guide"
            point3f[] points = [(0, 0, 0)]
        }
    }
    def Material "bone" {
    }
}
"""


def test_a_stage_of_another_program_is_one_mesh_in_its_place(tmp_path: Path) -> None:
    """Z up becomes Y up (x, z, -y); scale before translation; the left-handed quad is turned over; `half` of the eye,
    which has none, is half of its shape."""
    (tmp_path / "a.usda").write_text(OTHER)
    mesh = read_mesh(tmp_path / "a.usda")
    assert mesh.n_vertices == 7 and mesh.unit == "cm"
    assert np.allclose(mesh.positions[:4], [[0, 5, 0], [2, 5, 0], [2, 5, -2], [0, 5, -2]])
    assert np.allclose(mesh.positions[4:], [[0, 5, 0], [1, 5, 0], [0, 5, -1]])
    assert [mesh.polygons.face(i).tolist() for i in range(2)] == [[3, 0, 1, 2], [4, 5, 6]]
    assert mesh.uv is not None and np.array_equal(
        mesh.uv.uv[mesh.uv.indices[:4]], np.array([[0, 1], [0, 0], [1, 0], [1, 1]])
    )
    assert mesh.uv.indices[4:].tolist() == [-1, -1, -1]
    assert same_names(mesh.groups, {"skin": np.array([0]), "eye": np.array([1])})
    assert same_names(mesh.materials, {"bone": np.array([0])})
    (shape,) = mesh.shapes
    assert shape.name == "grin" and [b.at for b in shape.inbetweens] == [0.5]
    assert np.allclose(shape.delta[[2, 4, 6]], [[0, 2, 0], [1, 0, 0], [0, 2, 0]])
    assert np.allclose(shape.inbetweens[0].delta[[2, 4, 6]], [[0, 0, -2], [0.5, 0, 0], [0, 1, 0]])
    assert any("Y up" in note for note in mesh.notes) and any("cage" in note for note in mesh.notes)


def test_a_head_that_lies_in_another_file_is_followed(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    write_mesh(tmp_path / "sub" / "skin.usdc", Mesh(CUBE, CUBE_CORNERS, unit="m"))
    layer = '#usda 1.0\n( metersPerUnit = 1 )\ndef "a" ( prepend references = @sub/skin.usdc@ ) {\n}\n'
    (tmp_path / "a.usda").write_text(layer)
    assert np.array_equal(read_mesh(tmp_path / "a.usda").positions, CUBE_CORNERS)


def test_a_unit_that_has_no_name_is_taken_to_metres_and_none_is_guessed(tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.usda", Mesh(CUBE, CUBE_CORNERS * 100, unit="mm"))
    text = (tmp_path / "a.usda").read_text()
    (tmp_path / "a.usda").write_text(text.replace("metersPerUnit = 0.001", "metersPerUnit = 0.005"))
    mesh = read_mesh(tmp_path / "a.usda")
    assert mesh.unit == "m" and np.allclose(mesh.positions, CUBE_CORNERS * 0.5) and mesh.notes
    (tmp_path / "b.usda").write_text(text.replace("metersPerUnit = 0.001", ""))
    assert read_mesh(tmp_path / "b.usda").unit is None
    head = open_library(tmp_path / "b.usda")
    assert head.unit == "mm" and any("unit" in note for note in head.notes)


def test_a_library_opens_with_its_in_betweens(tmp_path: Path) -> None:
    delta = np.ones((8, 3), np.float32)
    shape = Shape("joy", delta, (InBetween(0.25, 0.1 * delta), InBetween(0.5, 0.4 * delta)))
    polygons = Polygons(CUBE.counts, CUBE.indices, 8)
    write_mesh(tmp_path / "a.usdz", Mesh(polygons, CUBE_CORNERS * 10, shapes=(shape,), unit="cm"))
    head = open_library(tmp_path / "a.usdz")
    assert head.unit == "cm" and [b.at for b in head.shape("joy").inbetweens] == [0.25, 0.5]
    assert np.allclose(head.shape("joy").inbetweens[1].delta, 4.0) and np.allclose(head.neutral, CUBE_CORNERS * 100)


def test_a_bake_is_one_stage_with_the_recipes_as_shapes(tmp_path: Path) -> None:
    project = small_project(tmp_path / "clock.moue")
    evaluated = EvaluatedDocument(project, small_head())
    recipes = list(project.recipes)
    (file,) = bake(evaluated, tmp_path / "out", recipes, suffix=".usd")
    assert file.name == "clock.usd"
    mesh = read_mesh(file).in_unit("mm")
    assert [shape.name for shape in mesh.shapes] == [recipe.name for recipe in recipes]
    for shape, recipe in zip(mesh.shapes, recipes, strict=True):
        assert np.allclose(mesh.positions + shape.delta, evaluated.pose(recipe), atol=1e-4)
