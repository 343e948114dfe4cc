"""Our USD, evaluated by UsdSkel itself, and UsdSkel's own worked example, read by us.

Source: OpenUSD, "UsdSkel: Blend Shape Schema" (P' = P + sum of w_i b_i; in-betweens piecewise linear, the shapes at 0
and 1 implied, going on unbounded beyond), and its functions `UsdSkel.BlendShapeQuery` and `UsdSkel.BakeSkinning`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pxr import Usd, UsdGeom, UsdSkel, Vt

from composer.formats.mesh import Mesh
from composer.formats.registry import read_mesh, write_mesh
from composer.head.head import Shape
from tests.small_files import meshes

quiet = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
FORMS = [".usd", ".usda", ".usdc", ".usdz"]

TRIANGLE = """#usda 1.0
( defaultPrim = "head"
  metersPerUnit = 0.01
  upAxis = "Y" )
def SkelRoot "head" {
    def Mesh "skin" (prepend apiSchemas = ["SkelBindingAPI"]) {
        point3f[] points = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
        int[] faceVertexCounts = [3]
        int[] faceVertexIndices = [0, 1, 2]
        uniform token[] skel:blendShapes = ["grin"]
        rel skel:blendShapeTargets = </head/skin/grin>
        def BlendShape "grin" {
            uniform vector3f[] offsets = [(0, 0, 1)]
            uniform int[] pointIndices = [1]
            uniform vector3f[] inbetweens:half = [(0, 1, 0)] ( weight = 0.5 )
        }
    }
}
"""


def at(shape: Shape, weight: float) -> np.ndarray:
    """A shape at a weight, by the definition: the straight line through the two nearest stops, or the last two."""
    stops = [(0.0, 0.0 * shape.delta), (1.0, shape.delta), *((b.at, b.delta) for b in shape.inbetweens)]
    stops.sort(key=lambda stop: stop[0])
    low = max(i for i in range(len(stops) - 1) if i == 0 or stops[i][0] <= weight)
    (a, first), (b, second) = stops[low], stops[low + 1]
    share = (weight - a) / (b - a)
    return (1 - share) * first.astype(float) + share * second.astype(float)


def deformed(stage: Usd.Stage, weights: list[float]) -> np.ndarray:
    """The points of the one mesh of a stage, by UsdSkel's own functions."""
    mesh = next(UsdGeom.Mesh(prim) for prim in stage.Traverse() if prim.IsA(UsdGeom.Mesh))
    query = UsdSkel.BlendShapeQuery(UsdSkel.BindingAPI(mesh.GetPrim()))
    sub_weights, shapes, sub_shapes = query.ComputeSubShapeWeights(weights)
    points = Vt.Vec3fArray(mesh.GetPointsAttr().Get())
    offsets, indices = query.ComputeSubShapePointOffsets(), query.ComputeBlendShapePointIndices()
    assert query.ComputeDeformedPoints(sub_weights, shapes, sub_shapes, indices, offsets, points)
    return np.array(points, dtype=float)


@pytest.mark.parametrize(
    ("weight", "moved"), [(0.3, (0, 0.6, 0)), (0.75, (0, 0.5, 0.5)), (-0.25, (0, -0.5, 0)), (1.2, (0, -0.4, 1.4))]
)
def test_the_schemas_worked_example(weight: float, moved: tuple, tmp_path: Path) -> None:
    (tmp_path / "a.usda").write_text(TRIANGLE)
    mesh = read_mesh(tmp_path / "a.usda")
    assert mesh.unit == "cm" and [s.name for s in mesh.shapes] == ["grin"]
    assert np.allclose(at(mesh.shapes[0], weight)[1], moved, atol=1e-6)
    assert np.allclose(deformed(Usd.Stage.Open(str(tmp_path / "a.usda")), [weight])[1] - (1, 0, 0), moved, atol=1e-6)
    write_mesh(tmp_path / "b.usda", mesh)
    assert np.allclose(deformed(Usd.Stage.Open(str(tmp_path / "b.usda")), [weight])[1] - (1, 0, 0), moved, atol=1e-6)


@quiet
@given(mesh=meshes(shapes=True), seed=st.integers(0, 2**32 - 1), suffix=st.sampled_from(FORMS))
def test_usdskel_deforms_our_files_as_we_do(mesh: Mesh, seed: int, suffix: str, tmp_path: Path) -> None:
    write_mesh(tmp_path / f"a{suffix}", mesh)
    weights = np.random.default_rng(seed).uniform(-0.5, 1.5, len(mesh.shapes)).tolist()
    stage = Usd.Stage.Open(str(tmp_path / f"a{suffix}"))
    expected = mesh.positions + sum(at(s, w) for s, w in zip(mesh.shapes, weights, strict=True))
    size = 1.0 + np.abs(mesh.positions).max()
    if mesh.shapes:
        assert np.abs(deformed(stage, weights) - expected).max() < 2e-6 * size


@quiet
@given(mesh=meshes(shapes=True), seed=st.integers(0, 2**32 - 1))
def test_an_animation_of_the_weights_moves_the_mesh(mesh: Mesh, seed: int, tmp_path: Path) -> None:
    """The binding from weights over skeleton to mesh is whole: UsdSkel.BakeSkinning finds it and bakes the pose."""
    if not mesh.shapes:
        return
    write_mesh(tmp_path / "a.usda", mesh)
    stage = Usd.Stage.Open(str(tmp_path / "a.usda"))
    assert stage.GetDefaultPrim().IsA(UsdSkel.Root)
    assert UsdGeom.GetStageMetersPerUnit(stage) == 0.01 and UsdGeom.GetStageUpAxis(stage) == "Y"
    weights = np.random.default_rng(seed).uniform(0, 1, len(mesh.shapes))
    played = next(UsdSkel.Animation(p) for p in stage.Traverse() if p.IsA(UsdSkel.Animation))
    played.GetBlendShapeWeightsAttr().Set(weights.tolist())
    assert UsdSkel.BakeSkinning(UsdSkel.Root(stage.GetDefaultPrim()))
    skin = next(UsdGeom.Mesh(prim) for prim in stage.Traverse() if prim.IsA(UsdGeom.Mesh))
    baked = np.array(skin.GetPointsAttr().Get(Usd.TimeCode.EarliestTime()), dtype=float)
    expected = mesh.positions + sum(at(s, w) for s, w in zip(mesh.shapes, weights, strict=True))
    assert np.abs(baked - expected).max() < 2e-6 * (1.0 + np.abs(mesh.positions).max())


def test_only_what_moves_or_turns_is_written(tmp_path: Path) -> None:
    from tests.small_heads import grid

    polygons = grid(20, 20)
    points = np.stack([*np.mgrid[:20, :20].astype(float).reshape(2, -1), np.zeros(400)], axis=1)
    few, none = np.zeros((400, 3), np.float32), np.zeros((400, 3), np.float32)
    few[210] = (0, 0, 1)
    write_mesh(tmp_path / "a.usda", Mesh(polygons, points, shapes=(Shape("few", few), Shape("none", none)), unit="mm"))
    stage = Usd.Stage.Open(str(tmp_path / "a.usda"))
    held = [UsdSkel.BlendShape(p) for p in stage.Traverse() if p.IsA(UsdSkel.BlendShape)]
    assert sorted(held[0].GetPointIndicesAttr().Get()) == [189, 190, 191, 209, 210, 211, 229, 230, 231]
    assert list(held[1].GetPointIndicesAttr().Get()) == [0]
    for shape in held:
        assert UsdSkel.BlendShape.ValidatePointIndices(shape.GetPointIndicesAttr().Get(), 400)[0]
    assert not read_mesh(tmp_path / "a.usda").shapes[1].delta.any()
