"""A head as USD: a SkelRoot with one mesh, its blend shapes, and a skeleton that carries their weights."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pxr import Gf, Sdf, Tf, Usd, UsdGeom, UsdShade, UsdSkel, UsdUtils, Vt

from composer.errors import MoueError, cannot
from composer.formats.mesh import Mesh
from composer.geometry.surface import Surface
from composer.head.atomic import write_whole
from composer.head.head import Shape
from composer.units import mm_per

GROUPS = "moueGroups"
"""The family of the subsets that are groups: they may overlap, and need not cover the mesh."""
PACKED_AT = (1980, 1, 2, 0, 0, 0, 0, 0, 0)
"""The local time that a package says its file is from: the same bytes at any hour. A zip's times begin with 1980."""
NORMAL_AT_REST = 1e-6
"""A unit normal that changes by less in every coordinate counts as unchanged (our choice; no unit)."""


def write_stage(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh as USD, completely or not at all; return notes on losses. Raises MoueError on failure."""
    notes: list[str] = []
    return write_made(path, mesh, notes, lambda: _stage(mesh, notes))


def write_made(path: Path, mesh: Mesh, notes: list[str], make: Callable[[], Usd.Stage]) -> tuple[str, ...]:
    """Write the stage that `make` gives of a mesh, completely or not at all; return `notes`, to which what USD leaves
    out is added. Raises MoueError on failure."""
    if not mesh.polygons.n_faces:
        raise MoueError("cannot be written: the mesh has no polygons", path)
    notes += [f"USD leaves out {what}." for what, held in (("objects", mesh.objects),
              ("material files", mesh.material_files)) if held]  # fmt: skip
    silence = UsdUtils.CoalescingDiagnosticDelegate()  # while it exists, USD prints nothing
    try:
        stage = make()
        with tempfile.TemporaryDirectory(prefix="moue-usd-") as folder:
            exported = _exported(stage, Path(folder), path.suffix.lower())
            with exported.open("rb") as source:
                write_whole(path, lambda file: shutil.copyfileobj(source, file, 2**22), sync=False)
    except Tf.ErrorException as error:
        raise MoueError(f"cannot be written as USD ({' '.join(str(error).split())[:80]})", path) from None
    except OSError as error:
        raise cannot("written", path, error) from None
    finally:
        silence.TakeUncoalescedDiagnostics()
    return tuple(notes)


def _exported(stage: Usd.Stage, folder: Path, suffix: str) -> Path:
    """A file in `folder` that holds the stage in the form of `suffix`."""
    plain = folder / f"head{'.usdc' if suffix == '.usdz' else suffix}"
    stage.GetRootLayer().Export(str(plain))
    if suffix != ".usdz":
        return plain
    stamp = time.mktime(PACKED_AT)
    os.utime(plain, (stamp, stamp))
    package = folder / "head.usdz"
    writer = Sdf.ZipFileWriter.CreateNew(str(package))
    writer.AddFile(str(plain), plain.name)
    writer.Save()
    return package


def new_stage(mesh: Mesh) -> Usd.Stage:
    """An empty stage with Y up, in the unit of a mesh."""
    stage = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.y)
    UsdGeom.SetStageMetersPerUnit(stage, mm_per(mesh.unit or "mm") / 1000.0)
    return stage


def _stage(mesh: Mesh, notes: list[str]) -> Usd.Stage:
    stage = new_stage(mesh)
    names = Names()
    root_path = Sdf.Path.absoluteRootPath.AppendChild(names.of(mesh.name or "head", ""))
    kind = UsdSkel.Root if mesh.shapes else UsdGeom.Xform
    root = kind.Define(stage, root_path)
    stage.SetDefaultPrim(root.GetPrim())
    Usd.ModelAPI(root.GetPrim()).SetKind("component")
    if mesh.name and mesh.name != root_path.name:
        root.GetPrim().SetDisplayName(mesh.name)
    written = add_mesh(stage, root_path.AppendChild("mesh"), mesh, notes)
    add_groups(written, mesh, names)
    add_materials(stage, written, root_path.AppendChild("materials"), mesh, names)
    if mesh.shapes:
        add_skel(stage, root_path, written, mesh, names)
    return stage


class Names:
    """Names that USD takes for prims, one for each of our own under each parent."""

    def __init__(self) -> None:
        self.taken: dict[str, set[str]] = {}

    def of(self, name: str, parent: str) -> str:
        """A prim's name for `name`, not yet taken under `parent`."""
        plain = name if Sdf.Path.IsValidIdentifier(name) else Tf.MakeValidIdentifier(name)
        taken = self.taken.setdefault(parent, set())
        given, number = plain, 2
        while given in taken:
            given, number = f"{plain}_{number}", number + 1
        taken.add(given)
        return given


def floats(rows: NDArray) -> Vt.Vec3fArray:
    """Rows (n, 3) as USD's array of float32."""
    return Vt.Vec3fArray.FromNumpy(np.ascontiguousarray(rows, dtype=np.float32))


def _ints(values: NDArray) -> Vt.IntArray:
    return Vt.IntArray.FromNumpy(np.ascontiguousarray(values, dtype=np.int32))


def add_mesh(stage: Usd.Stage, path: Sdf.Path, mesh: Mesh, notes: list[str]) -> UsdGeom.Mesh:
    """The mesh without its shapes: points, polygons, normals, texture coordinates, colours."""
    written = UsdGeom.Mesh.Define(stage, path)
    points = mesh.positions.astype(np.float32)
    if not np.isfinite(points).all():
        raise MoueError("has positions that are not numbers", mesh.path)
    written.CreatePointsAttr(floats(points))
    written.CreateExtentAttr(floats(np.stack([points.min(axis=0), points.max(axis=0)])))
    written.CreateFaceVertexCountsAttr(_ints(mesh.polygons.counts))
    written.CreateFaceVertexIndicesAttr(_ints(mesh.polygons.indices))
    written.CreateSubdivisionSchemeAttr(UsdGeom.Tokens.none)
    written.CreateNormalsAttr(floats(normals_of(mesh, mesh.positions)))
    written.SetNormalsInterpolation(UsdGeom.Tokens.vertex)
    if mesh.uv is not None:
        uv, at = mesh.uv.uv, mesh.uv.indices
        if (at < 0).any():
            notes.append("Corners without a texture coordinate are at 0, 0.")
            uv, at = np.concatenate([uv, np.zeros((1, 2))]), np.where(at < 0, len(uv), at)
        kind = Sdf.ValueTypeNames.TexCoord2fArray
        st = UsdGeom.PrimvarsAPI(written).CreatePrimvar("st", kind, UsdGeom.Tokens.faceVarying)
        st.Set(Vt.Vec2fArray.FromNumpy(np.ascontiguousarray(uv, dtype=np.float32)))
        st.SetIndices(_ints(at))
    if mesh.colours is not None:
        colours = written.CreateDisplayColorPrimvar(UsdGeom.Tokens.vertex)
        colours.Set(floats(np.clip(mesh.colours, 0.0, 1.0)))
    return written


def normals_of(mesh: Mesh, positions: NDArray) -> NDArray[np.float64]:
    """(n, 3) unit normals; (0, 0, 1) where the surface has none."""
    normals = np.array(Surface(mesh.polygons, positions).vertex_normals)
    normals[~normals.any(axis=1)] = (0.0, 0.0, 1.0)
    return normals


def add_groups(written: UsdGeom.Mesh, mesh: Mesh, names: Names) -> None:
    """The groups of a mesh, as subsets."""
    for name, faces in mesh.groups.items():
        _subset(written, name, faces, GROUPS, names)
    if mesh.groups:
        UsdGeom.Subset.SetFamilyType(written, GROUPS, UsdGeom.Tokens.unrestricted)


def add_materials(stage: Usd.Stage, written: UsdGeom.Mesh, folder: Sdf.Path, mesh: Mesh, names: Names) -> None:
    """The materials of a mesh, as subsets bound to materials under `folder`."""
    if not mesh.materials:
        return
    UsdGeom.Scope.Define(stage, folder)
    for name, faces in mesh.materials.items():
        material = UsdShade.Material.Define(stage, folder.AppendChild(names.of(name, "materials")))
        if name != material.GetPrim().GetName():
            material.GetPrim().SetDisplayName(name)
        subset = _subset(written, name, faces, UsdShade.Tokens.materialBind, names)
        UsdShade.MaterialBindingAPI.Apply(subset.GetPrim()).Bind(material)
    UsdShade.MaterialBindingAPI.Apply(written.GetPrim()).SetMaterialBindSubsetsFamilyType(UsdGeom.Tokens.nonOverlapping)


def _subset(written: UsdGeom.Mesh, name: str, faces: NDArray, family: str, names: Names) -> UsdGeom.Subset:
    kind = UsdGeom.Tokens.face
    subset = UsdGeom.Subset.CreateGeomSubset(written, names.of(name, "mesh"), kind, _ints(faces), family)
    if subset.GetPrim().GetName() != name:
        subset.GetPrim().SetDisplayName(name)
    return subset


def add_skel(stage: Usd.Stage, root: Sdf.Path, written: UsdGeom.Mesh, mesh: Mesh, names: Names) -> UsdSkel.Animation:
    """The blend shapes, and the skeleton of one joint through which the animation that is returned gives them weights,
    0 at rest."""
    prim = written.GetPrim()
    targets = []
    normals = normals_of(mesh, mesh.positions)
    for shape in mesh.shapes:
        path = written.GetPath().AppendChild(names.of(shape.name, "mesh"))
        _blend_shape(UsdSkel.BlendShape.Define(stage, path), mesh, shape, normals)
        targets.append(path)
    tokens = Vt.TokenArray([shape.name for shape in mesh.shapes])
    skeleton = UsdSkel.Skeleton.Define(stage, root.AppendChild("skeleton"))
    identity = Vt.Matrix4dArray([Gf.Matrix4d(1.0)])
    skeleton.CreateJointsAttr(Vt.TokenArray(["head"]))
    skeleton.CreateBindTransformsAttr(identity)
    skeleton.CreateRestTransformsAttr(identity)
    weights = UsdSkel.Animation.Define(stage, root.AppendChild("weights"))
    weights.CreateBlendShapesAttr(tokens)
    weights.CreateBlendShapeWeightsAttr(Vt.FloatArray([0.0] * len(tokens)))
    UsdSkel.BindingAPI.Apply(skeleton.GetPrim()).CreateAnimationSourceRel().SetTargets([weights.GetPath()])
    binding = UsdSkel.BindingAPI.Apply(prim)
    binding.CreateSkeletonRel().SetTargets([skeleton.GetPath()])
    binding.CreateBlendShapesAttr(tokens)
    binding.CreateBlendShapeTargetsRel().SetTargets(targets)
    return weights


def _blend_shape(written: UsdSkel.BlendShape, mesh: Mesh, shape: Shape, normals: NDArray) -> None:
    """Offsets of the points that the shape or one of its in-betweens moves or turns, and only of those."""
    stops = [shape.delta, *(between.delta for between in shape.inbetweens)]
    turned = [normals_of(mesh, mesh.positions + delta) - normals for delta in stops]
    turns = [(np.abs(turn) > NORMAL_AT_REST).any(axis=1) for turn in turned]
    moves = np.any([delta.any(axis=1) for delta in stops] + turns, axis=0)
    at = np.flatnonzero(moves)
    if not len(at):
        at = np.zeros(1, dtype=np.int64)  # no indices at all would mean all points
    written.CreatePointIndicesAttr(_ints(at))
    written.CreateOffsetsAttr(floats(shape.delta[at]))
    written.CreateNormalOffsetsAttr(floats(turned[0][at]))
    for number, (between, turn) in enumerate(zip(shape.inbetweens, turned[1:], strict=True), 1):
        inbetween = written.CreateInbetween(f"at_{number}")
        inbetween.SetWeight(float(between.at))
        inbetween.SetOffsets(floats(between.delta[at]))
        inbetween.SetNormalOffsets(floats(turn[at]))
