"""Frames from USD: what each is comes from USD itself, and memory holds a part of them."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from pxr import Sdf, Usd, UsdGeom, Vt

from composer.errors import MoueError
from composer.formats import usd_points
from composer.formats.frame_sequence import read_sequence
from composer.formats.usd_points import UsdPoints

GRID = np.arange(900).reshape(30, 30)
FACES = np.stack([GRID[:-1, :-1], GRID[:-1, 1:], GRID[1:, 1:], GRID[1:, :-1]], axis=-1).reshape(-1, 4)


def stage_of(path: Path, frames: int, meshes: int = 1) -> Usd.Stage:
    """Meshes of 900 points that change, in centimetres with Z up at 30 codes a second; the second one moves as well."""
    rng = np.random.default_rng(3)
    stage = Usd.Stage.CreateNew(str(path))
    UsdGeom.SetStageMetersPerUnit(stage, 0.01)
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
    stage.SetTimeCodesPerSecond(30.0)
    for number in range(meshes):
        mesh = UsdGeom.Mesh.Define(stage, f"/head{number}/skin")
        mesh.CreateFaceVertexCountsAttr([4] * len(FACES))
        mesh.CreateFaceVertexIndicesAttr(FACES.ravel().tolist())
        for code in range(frames):
            mesh.GetPointsAttr().Set(Vt.Vec3fArray.FromNumpy(rng.normal(size=(900, 3)).astype(np.float32)), code)
            if number:
                (mesh.GetOrderedXformOps() or [mesh.AddTranslateOp()])[0].Set((code, 2.0, 3.0), code)
    stage.GetRootLayer().Save()
    return stage


@pytest.mark.parametrize("suffix", [".usdc", ".usda"])
def test_frames_come_part_by_part(suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """OpenUSD: UsdGeomPointBased (points), UsdGeomXformable (places), UsdGeom "upAxis", UsdStage (time codes)."""
    stage = stage_of(tmp_path / f"a{suffix}", 7, 2)
    monkeypatch.setattr(usd_points, "PART_BYTES", 3 * 2 * 900 * 12)  # three frames at a time
    monkeypatch.setattr(usd_points, "MOST_TEXT", 0)  # text goes by a binary file
    sequence = read_sequence(tmp_path / f"a{suffix}")
    assert sequence.mesh.unit == "cm" and sequence.mesh.path == tmp_path / f"a{suffix}" and sequence.mesh.name == "a"
    assert sequence.times is not None and sequence.times.tolist() == pytest.approx(np.arange(7) / 30)
    for _ in range(2):  # as often as they are asked for
        for code, frame in zip(range(7), sequence.frames(), strict=True):
            placed = [np.array(UsdGeom.Mesh(prim).GetPointsAttr().Get(code), dtype=np.float64)
                      + np.array(UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(code))[3, :3]
                      for prim in stage.Traverse() if prim.IsA(UsdGeom.Mesh)]  # fmt: skip
            x, y, z = np.concatenate(placed).T
            np.testing.assert_allclose(frame, np.stack([x, z, -y], axis=1), atol=1e-5)


def test_memory_does_not_grow_with_the_frames(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted by tracemalloc: 90 more frames, and less than five more are held at any time."""
    monkeypatch.setattr(usd_points, "PART_BYTES", 6 * 900 * 12)
    most = []
    for frames in (30, 30, 120):  # the first one loads what is loaded once
        path = tmp_path / f"{len(most)}.usdc"
        stage_of(path, frames)
        tracemalloc.start()
        try:
            assert sum(1 for _ in UsdPoints(path).frames()) == frames
            most.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    assert most[2] - most[1] < 5 * 900 * 12


@pytest.mark.parametrize("suffix", [".usdc", ".usda"])
def test_a_late_frame_that_cannot_be_used_is_one_line(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    """In a later part: too few points, or a sample that is blocked (SdfValueBlock: no value from there on)."""
    monkeypatch.setattr(usd_points, "PART_BYTES", 1)
    monkeypatch.setattr(usd_points, "MOST_TEXT", 0)
    path = tmp_path / f"a{suffix}"
    stage = stage_of(path, 5)
    points = UsdGeom.Mesh(stage.GetPrimAtPath("/head0/skin")).GetPointsAttr()
    points.Set(list(points.Get(3))[:-1], 3)
    stage.GetRootLayer().Save()
    with pytest.raises(MoueError) as caught:
        list(read_sequence(path).frames())
    assert f"{path.name}: has 899 vertices at time code 3, 900 at its first: two topologies" in str(caught.value)
    points.Set(list(points.Get(0)), 3)
    points.Set(Sdf.ValueBlock(), 4)
    stage.GetRootLayer().Save()
    with pytest.raises(MoueError, match="has 0 vertices at time code 4, 900 at its first: two topologies"):
        list(read_sequence(path).frames())


def test_a_file_aside_goes_with_its_reader(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(usd_points, "MOST_TEXT", 0)
    monkeypatch.setattr(usd_points.tempfile, "tempdir", str(tmp_path / "aside"))
    (tmp_path / "aside").mkdir()
    stage_of(tmp_path / "a.usda", 2)
    points = UsdPoints(tmp_path / "a.usda")
    assert len(list((tmp_path / "aside").glob("*/points.usdc"))) == 1 and len(list(points.frames())) == 2
    del points
    assert not list((tmp_path / "aside").iterdir())


def test_a_file_that_changes_while_it_is_read_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(usd_points, "PART_BYTES", 1)
    for name, count in (("a", 5), ("b", 3)):
        stage_of(tmp_path / f"{name}.usdc", count)
    frames = read_sequence(tmp_path / "a.usdc").frames()
    next(frames)
    (tmp_path / "b.usdc").replace(tmp_path / "a.usdc")
    with pytest.raises(MoueError, match=r"a.usdc: has changed while it was read; read it again"):
        list(frames)
