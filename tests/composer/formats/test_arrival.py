"""What is told of a file before all of it is read: the neutral, whole, even where the shapes after it are damaged."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pxr import Usd, UsdSkel, Vt

from composer.errors import MoueError
from composer.formats import standing
from composer.formats.arrival import Arrival, HeadArrival
from composer.formats.library import open_library
from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.axes import FileAxes
from composer.head.head import Head, Shape
from tests.small_heads import grid

FORMS = [".npz", ".glb", ".usda", pytest.param(".usdc", marks=pytest.mark.skipif(
    not standing.CAN_FORK, reason="binary USD tells nothing before its end on this system"))]  # fmt: skip


PLANTED = np.float32(1234.5)


def _mesh(planted: bool = False) -> Mesh:
    rng = np.random.default_rng(8)
    flat = grid(6, 5)
    places = np.float32(rng.normal(size=(30, 3))).astype(np.float64)
    shapes = [Shape(name, rng.normal(size=(30, 3)).astype(np.float32)) for name in ("one", "two", "three")]
    if planted:
        shapes[2].delta[7, 1] = PLANTED
    return Mesh(flat, places, groups={"half": np.arange(10, dtype=np.int32)}, shapes=tuple(shapes), unit="m")


def _written(path: Path, damaged: bool) -> Mesh:
    """The mesh written; `damaged`, with a number of the third shape that is none. What Moue does not write is put into
    the file: a glTF file as its bytes, a USD file by USD's own code."""
    mesh = _mesh(damaged)
    if damaged and path.suffix == ".npz":
        mesh.shapes[2].delta[7, 1] = np.nan
    write_mesh(path, mesh)
    if damaged and path.suffix == ".glb":
        data = path.read_bytes()
        assert data.count(PLANTED.tobytes()) == 1
        path.write_bytes(data.replace(PLANTED.tobytes(), np.float32(np.nan).tobytes()))
    elif damaged and path.suffix.startswith(".usd"):
        stage = Usd.Stage.Open(str(path))
        shape = next(prim for prim in stage.Traverse() if prim.GetName() == "three")
        offsets = np.array(UsdSkel.BlendShape(shape).GetOffsetsAttr().Get())
        offsets[7] = np.nan
        UsdSkel.BlendShape(shape).GetOffsetsAttr().Set(Vt.Vec3fArray.FromNumpy(offsets))
        stage.Save()
    return mesh


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("damaged", [False, True])
def test_the_neutral_is_told_before_the_shapes_are_read(form: str, damaged: bool, tmp_path: Path) -> None:
    """A file whose third shape is not numbers (IEEE 754) is refused, and its neutral was told before."""
    told: list[Mesh] = []
    mesh = _written(tmp_path / f"head{form}", damaged)
    seen = Arrival(told.append, lambda shape: None)
    if damaged:
        with pytest.raises(MoueError, match="three"):
            read_mesh(tmp_path / f"head{form}", told=seen)
    else:
        whole = read_mesh(tmp_path / f"head{form}", told=seen)
        assert [shape.name for shape in whole.shapes] == ["one", "two", "three"]
        for shape, wanted in zip(whole.shapes, mesh.shapes, strict=True):
            np.testing.assert_allclose(shape.delta, wanted.delta, rtol=0, atol=1e-7)
    assert len(told) == 1 and not told[0].shapes
    np.testing.assert_allclose(told[0].positions, mesh.positions, rtol=0, atol=1e-7)
    assert told[0].polygons.same_as(mesh.polygons) and list(told[0].groups) == ["half"]


def test_shapes_of_plain_arrays_are_told_one_by_one(tmp_path: Path) -> None:
    told: list[Shape] = []
    mesh = _written(tmp_path / "head.npz", damaged=True)
    with pytest.raises(MoueError, match="three"):
        read_mesh(tmp_path / "head.npz", told=Arrival(shape=told.append))
    assert [shape.name for shape in told] == ["one", "two"]
    assert all(np.array_equal(a.delta, b.delta) for a, b in zip(told, mesh.shapes, strict=False))


def test_arrays_that_lie_by_columns_are_read_alike(tmp_path: Path) -> None:
    """numpy stores an array by columns where its memory is so ("numpy.lib.format", key fortran_order)."""
    mesh = _mesh()
    deltas = np.asfortranarray(np.stack([shape.delta for shape in mesh.shapes]))
    np.savez(
        tmp_path / "head.npz", neutral=np.asfortranarray(mesh.positions), deltas=deltas, names=["one", "two", "three"],
        counts=mesh.polygons.counts, indices=mesh.polygons.indices,
    )  # fmt: skip
    for shape, wanted in zip(read_mesh(tmp_path / "head.npz").shapes, mesh.shapes, strict=True):
        assert np.array_equal(shape.delta, wanted.delta)


@pytest.mark.parametrize("form", ["folder", ".npz"])
def test_a_library_is_told_in_millimetres_and_upright_as_it_is_opened(form: str, tmp_path: Path) -> None:
    mesh, told = replace(_mesh(), unit="cm"), []
    place = tmp_path / "head"
    if form == "folder":
        place.mkdir()
        write_mesh(place / "neutral.obj", replace(mesh, shapes=()))
        for shape in mesh.shapes:
            write_mesh(place / f"{shape.name}.obj", replace(mesh, positions=mesh.positions + shape.delta, shapes=()))
    else:
        place = tmp_path / "head.npz"
        write_mesh(place, mesh)
    heads: list[Head] = []
    axes = FileAxes.of_rows(np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]))
    head = open_library(place, unit="cm", axes=axes, told=HeadArrival(heads.append, told.append))
    assert len(heads) == 1 and not heads[0].shapes
    assert np.array_equal(heads[0].neutral, head.neutral) and np.ptp(head.neutral) > 10.0
    assert sorted(shape.name for shape in told) == sorted(head.shape_names)
    for shape in told:
        np.testing.assert_allclose(shape.delta, head.shape(shape.name).delta, rtol=0, atol=1e-5)
