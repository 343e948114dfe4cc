"""A head from USD: the meshes of the stage in one, at their places, with blend shapes and in-betweens as shapes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pxr import Usd, UsdGeom, UsdShade, UsdSkel

from composer.errors import MoueError
from composer.formats.arrival import UNSEEN, Arrival
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh, textures_of
from composer.formats.usd_stage import EARLIEST, Stage, open_stage
from composer.geometry.polygons import Polygons
from composer.head.head import InBetween, Shape, TextureCoordinates
from composer.plain_number import as_meant
from composer.units import MM_PER_UNIT

Ints = NDArray[np.int32]
Z_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""Takes a stage with Z up to Y up: x stays, z becomes y, y becomes -z."""
RENDERED = (UsdGeom.Tokens.default_, UsdGeom.Tokens.render)
MATERIAL = "materialBind"
UV_NAMES = ("st", "UVMap", "uv", "map1")


def read_stage(path: Path, told: Arrival = UNSEEN) -> Mesh:
    """Every mesh of the stage at `path` as one, the neutral `told` before any blend shape is read. Raises MoueError
    where there is none, or where it cannot be used."""
    with open_stage(path) as stage:
        return read_opened(stage, told)


def meshes_at(stage: Stage, code: float) -> NDArray[np.float64]:
    """(n, 3) the points of every rendered mesh at a time code, at their places then, in the order, the unit and the
    axes of `read_opened`."""
    _, scale = _unit(stage, [])
    turn = scale * _turn(stage, [])
    found = []
    for prim in rendered(stage, []):
        held = UsdGeom.Mesh(prim).GetPointsAttr().Get(code)
        points = np.array(held if held is not None else [], dtype=np.float64).reshape(-1, 3)
        place = np.array(UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(code))
        with np.errstate(over="ignore", invalid="ignore"):  # what is not finite is told with its frame
            found.append((points @ place[:3, :3] + place[3, :3]) @ turn.T)
    return np.concatenate(found) if found else np.zeros((0, 3))


def read_opened(stage: Stage, told: Arrival = UNSEEN) -> Mesh:
    """Every mesh of an open stage as one, as `read_stage`."""
    notes: list[str] = []
    unit, scale = _unit(stage, notes)
    turn = _turn(stage, notes)
    prims = list(rendered(stage, notes))
    bare = [_mesh(stage, prim, scale * turn, notes) for prim in prims]
    if not bare:
        raise stage.wrong("holds no mesh that is rendered")
    if told is not UNSEEN:
        told.neutral(_one(bare, stage.path, unit, []))
    meshes = [_with_shapes(stage, prim, scale * turn, mesh) for prim, mesh in zip(prims, bare, strict=True)]
    return _one(meshes, stage.path, unit, notes)


def _unit(stage: Stage, notes: list[str]) -> tuple[str | None, float]:
    """The unit for the mesh, None where the stage gives none, and the factor from the stage's unit to it."""
    if not UsdGeom.StageHasAuthoredMetersPerUnit(stage.stage):
        return None, 1.0
    metres = float(UsdGeom.GetStageMetersPerUnit(stage.stage))
    if not 1e-9 < metres < 1e9:
        raise stage.wrong(f"has metersPerUnit {metres:g}, which is not a usable length")
    for unit, mm in MM_PER_UNIT.items():
        if abs(metres * 1000.0 / mm - 1.0) < 1e-6:
            return unit, 1.0
    notes.append(f"The file's unit is {metres:g} m; the head was converted to metres.")
    return "m", metres


def _turn(stage: Stage, notes: list[str]) -> NDArray[np.float64]:
    """(3, 3) what turns the stage to have Y up."""
    if UsdGeom.GetStageUpAxis(stage.stage) != UsdGeom.Tokens.z:
        return np.eye(3)
    notes.append("The file has Z up, so the head was turned to have Y up.")
    return Z_UP


def rendered(stage: Stage, notes: list[str]) -> Iterator[Usd.Prim]:
    """The meshes that are rendered, in the stage's order, those of instances too."""
    for prim in Usd.PrimRange.Stage(stage.stage, Usd.TraverseInstanceProxies()):
        if prim.IsA(UsdGeom.PointInstancer):
            notes.append("Instancers are left out.")
        if not prim.IsA(UsdGeom.Mesh):
            continue
        if UsdGeom.Imageable(prim).ComputePurpose() not in RENDERED:
            notes.append(f"{prim.GetName()} is a guide or a proxy and was left out.")
            continue
        yield prim


def _mesh(stage: Stage, prim: Usd.Prim, turn: NDArray[np.float64], notes: list[str]) -> Mesh:
    """One mesh in the stage's place, without its shapes, `turn` (3, 3) applied last."""
    geometry = UsdGeom.Mesh(prim)
    points = stage.values(geometry.GetPointsAttr(), 3)
    if points is None or not len(points):
        raise stage.wrong("has no points", prim)
    check_positions(points, stage.path, what=f"{prim.GetName()[:40]} vertex")
    polygons, flip = _polygons(stage, geometry, len(points))
    place = _place(prim)
    if not np.isfinite(place).all() or abs(np.linalg.det(place[:3, :3])) < 1e-30:
        raise stage.wrong("has a transform that cannot be undone", prim)
    linear, moved = place[:3, :3] @ turn.T, _moves(place, turn)
    order = _order(polygons, flip != (np.linalg.det(place[:3, :3]) < 0))
    if UsdSkel.BindingAPI(prim).GetJointIndicesAttr().HasAuthoredValue():
        notes.append("Skins (bones) are left out.")
    groups, materials = _subsets(stage, geometry, polygons.n_faces)
    return Mesh(
        Polygons(polygons.counts, polygons.indices[order], polygons.n_vertices),
        points @ linear + place[3, :3] @ turn.T if moved else points,
        _texture(stage, geometry, polygons, order), groups, materials=materials,
        colours=_colours(stage, geometry, len(points), notes), name=prim.GetDisplayName() or prim.GetName(),
    )  # fmt: skip


def _with_shapes(stage: Stage, prim: Usd.Prim, turn: NDArray[np.float64], mesh: Mesh) -> Mesh:
    """A mesh of `_mesh` with its blend shapes."""
    place = _place(prim)
    linear, moved = place[:3, :3] @ turn.T, _moves(place, turn)
    shapes = tuple(
        Shape(s.name, _turned(s.delta, linear, moved), tuple(InBetween(b.at, _turned(b.delta, linear, moved))
              for b in s.inbetweens)) for s in _shapes(stage, prim, mesh.n_vertices)
    )  # fmt: skip
    return replace(mesh, shapes=shapes)


def _place(prim: Usd.Prim) -> NDArray[np.float64]:
    """(4, 4) a prim's place in the stage; rows: p' = p M."""
    return np.array(UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(EARLIEST))


def _moves(place: NDArray[np.float64], turn: NDArray[np.float64]) -> bool:
    return not np.array_equal(place, np.eye(4)) or not np.array_equal(turn, np.eye(3))


def _turned(delta: NDArray, linear: NDArray, moved: bool) -> NDArray[np.float32]:
    return (delta @ linear if moved else delta).astype(np.float32)


def _polygons(stage: Stage, mesh: UsdGeom.Mesh, n: int) -> tuple[Polygons, bool]:
    """The polygons of the file, and whether their orientation is left-handed."""
    counts = stage.values(mesh.GetFaceVertexCountsAttr(), None, "iu")
    indices = stage.values(mesh.GetFaceVertexIndicesAttr(), None, "iu")
    if counts is None or indices is None:
        raise stage.wrong("has no polygons", mesh.GetPrim())
    if int(counts.sum()) != len(indices) or (len(counts) and counts.min() < 0):
        what = f"has polygons of {int(counts.sum())} corners together and {len(indices)} indices"
        raise stage.wrong(what, mesh.GetPrim())
    try:
        polygons = Polygons(counts, indices, n)
    except MoueError as error:
        raise stage.wrong(f"is wrong: {error}", mesh.GetPrim()) from None
    return polygons, mesh.GetOrientationAttr().Get(EARLIEST) == UsdGeom.Tokens.leftHanded


def _order(polygons: Polygons, flip: bool) -> NDArray[np.int64]:
    """(k,) the order of the corners: that of the file, or with `flip` each polygon's backwards from its first."""
    corners = np.arange(len(polygons.indices))
    if not flip:
        return corners
    begin = np.repeat(polygons.starts[:-1], polygons.counts)
    within = corners - begin
    return begin + (-within) % np.repeat(polygons.counts.astype(np.int64), polygons.counts)


def _shapes(stage: Stage, prim: Usd.Prim, n: int) -> Iterator[Shape]:
    """The blend shapes of a mesh, displacements in its own space."""
    binding = UsdSkel.BindingAPI(prim)
    names = binding.GetBlendShapesAttr().Get(EARLIEST) if binding.GetBlendShapesAttr() else None
    relation = binding.GetBlendShapeTargetsRel()
    targets = relation.GetForwardedTargets() if relation else []
    if not names and not targets:
        return
    names = list(names or [])
    if len(names) != len(targets):
        raise stage.wrong(f"names {len(names)} blend shapes and has {len(targets)}", prim)
    doubles = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
    if doubles:
        raise stage.wrong(f"has two blend shapes named {doubles[0][:40]!r}", prim, "rename one of them")
    for name, target in zip(names, targets, strict=True):
        shape = stage.prim(target, UsdSkel.BlendShape, prim, "blend shape")
        at = _indices(stage, shape, n)
        delta = _offsets(stage, shape.GetOffsetsAttr(), at, n, shape.GetPrim(), name)
        if delta is None:
            raise stage.wrong("is a blend shape without offsets", shape.GetPrim())
        yield Shape(name, delta, tuple(_inbetweens(stage, shape, at, n)))


def _indices(stage: Stage, shape: UsdSkel.BlendShape, n: int) -> NDArray[np.int64] | None:
    """The points that a blend shape moves, None for all of them in order."""
    at = stage.values(shape.GetPointIndicesAttr(), None, "iu")
    if at is None or not len(at):
        return None
    if at.min() < 0 or at.max() >= n:
        wrong = int(at[(at < 0) | (at >= n)][0])
        raise stage.wrong(f"moves point {wrong} of a mesh of {n}", shape.GetPrim())
    return at


def _offsets(
    stage: Stage, attribute: Usd.Attribute, at: NDArray[np.int64] | None, n: int, prim: Usd.Prim, name: str
) -> NDArray[np.float32] | None:
    """(n, 3) what one offsets attribute of `prim` moves; None where it has none."""
    offsets = stage.values(attribute, 3)
    if offsets is None:
        return None
    delta = np.zeros((n, 3), dtype=np.float64)
    if at is None and not len(offsets):
        return delta.astype(np.float32)
    wanted = n if at is None else len(at)
    if len(offsets) != wanted:
        raise stage.wrong(f"has {len(offsets)} {attribute.GetName()[:40]} for {wanted} points", prim)
    check_positions(offsets, stage.path, what=f"shape {name[:40]!r}, offset")
    np.add.at(delta, np.arange(n) if at is None else at, offsets)
    return delta.astype(np.float32)


def _inbetweens(stage: Stage, shape: UsdSkel.BlendShape, at: NDArray[np.int64] | None, n: int) -> Iterator[InBetween]:
    """The in-betweens of a blend shape, by weight."""
    prim = shape.GetPrim()
    known: dict[float, str] = {0.0: "the neutral", 1.0: "the shape itself"}
    found: list[InBetween] = []
    for between in shape.GetAuthoredInbetweens():
        attribute = between.GetAttr()
        name = attribute.GetName()[:40]
        said = between.GetWeight() if between.HasAuthoredWeight() else float("nan")
        weight = as_meant(float(np.float32(said)))
        if not np.isfinite(weight):
            raise stage.wrong(f"has {name} at no weight", prim, "give it a weight")
        if weight in known:
            raise stage.wrong(f"has {name} at weight {weight:g}, where {known[weight]} is", prim, "move one of the two")
        known[weight] = name
        delta = _offsets(stage, attribute, at, n, prim, name)
        if delta is not None:
            found.append(InBetween(weight, delta))
    yield from sorted(found, key=lambda between: between.at)


def _subsets(stage: Stage, mesh: UsdGeom.Mesh, n_faces: int) -> tuple[dict[str, Ints], dict[str, Ints]]:
    """Polygons by the names of groups, and by those of materials."""
    groups: dict[str, Ints] = {}
    materials: dict[str, Ints] = {}
    for subset in UsdGeom.Subset.GetAllGeomSubsets(mesh):
        prim = subset.GetPrim()
        if subset.GetElementTypeAttr().Get() != UsdGeom.Tokens.face:
            continue
        faces = stage.values(subset.GetIndicesAttr(), None, "iu")
        if faces is None or not len(faces):
            continue
        if faces.min() < 0 or faces.max() >= n_faces:
            wrong = int(faces[(faces < 0) | (faces >= n_faces)][0])
            raise stage.wrong(f"has polygon {wrong} of a mesh of {n_faces}", prim)
        bound = subset.GetFamilyNameAttr().Get() == MATERIAL
        name = (_material(prim) if bound else "") or prim.GetDisplayName() or prim.GetName()
        held = materials if bound else groups
        held[name] = np.concatenate([held[name], faces]).astype(np.int32) if name in held else faces.astype(np.int32)
    whole = _material(mesh.GetPrim())
    if whole:
        rest = np.setdiff1d(np.arange(n_faces), np.concatenate([[], *materials.values()])).astype(np.int32)
        if len(rest):
            materials[whole] = np.concatenate([materials[whole], rest]) if whole in materials else rest
    return groups, materials


def _material(prim: Usd.Prim) -> str:
    """The name of the material that is bound to a prim itself, "" for none."""
    bound = UsdShade.MaterialBindingAPI(prim).GetDirectBinding()
    path = bound.GetMaterialPath()
    if path.isEmpty:
        return ""
    material = bound.GetMaterial()
    return (material.GetPrim().GetDisplayName() if material else "") or path.name


def _texture(
    stage: Stage, mesh: UsdGeom.Mesh, polygons: Polygons, order: NDArray[np.int64]
) -> TextureCoordinates | None:
    """Texture coordinates, one index a corner in the corners' `order`: `st`, or the first primvar that holds any."""
    primvars = UsdGeom.PrimvarsAPI(mesh)
    named = [primvars.FindPrimvarWithInheritance(name) for name in UV_NAMES]
    typed = [var for var in primvars.GetPrimvarsWithValues() if var.GetTypeName().role == "TextureCoordinate"]
    for var in [var for var in named if var and var.HasValue()] + typed:
        uv = stage.values(var.GetAttr(), 2)
        if uv is None or not len(uv):
            continue
        at = stage.values(var.GetIndicesAttr(), None, "iu") if var.IsIndexed() else np.arange(len(uv))
        how = var.GetInterpolation()
        if at is not None and how in (UsdGeom.Tokens.vertex, UsdGeom.Tokens.varying):
            if len(at) != polygons.n_vertices:
                raise stage.wrong(
                    f"has {len(at)} {var.GetName()[:40]} for {polygons.n_vertices} points", mesh.GetPrim()
                )
            at = at[polygons.indices]
        elif how != UsdGeom.Tokens.faceVarying:
            continue
        if at is None or len(at) != len(order):
            count = 0 if at is None else len(at)
            raise stage.wrong(f"has {count} {var.GetName()[:40]} for {len(order)} corners", mesh.GetPrim())
        if at.min() < 0 or at.max() >= len(uv) or not np.isfinite(uv).all():
            raise stage.wrong(f"has {var.GetName()[:40]} that are missing or not numbers", mesh.GetPrim())
        return TextureCoordinates(uv, at[order].astype(np.int32))
    return None


def _colours(stage: Stage, mesh: UsdGeom.Mesh, n: int, notes: list[str]) -> NDArray[np.float64] | None:
    """(n, 3) displayColor, where it is one a vertex."""
    var = mesh.GetDisplayColorPrimvar()
    if not var or not var.HasAuthoredValue() or var.GetInterpolation() == UsdGeom.Tokens.constant:
        return None
    colours = stage.values(var.GetAttr(), 3)
    at = stage.values(var.GetIndicesAttr(), None, "iu") if var.IsIndexed() else None
    if colours is not None and at is not None and len(at) and at.min() >= 0 and at.max() < len(colours):
        colours = colours[at]
    if colours is None or len(colours) != n or not np.isfinite(colours).all():
        notes.append("Colours are left out: the file does not have one for each vertex.")
        return None
    return np.clip(colours, 0.0, 1.0)


def _one(meshes: list[Mesh], path: Path, unit: str | None, notes: list[str]) -> Mesh:
    """All the meshes as one, a group for each where there are several; shapes of one name are one shape."""
    begin = np.cumsum([0, *(mesh.n_vertices for mesh in meshes)])
    faces = np.cumsum([0, *(mesh.polygons.n_faces for mesh in meshes)])
    polygons = Polygons(
        np.concatenate([mesh.polygons.counts for mesh in meshes]),
        np.concatenate([mesh.polygons.indices + begin[i] for i, mesh in enumerate(meshes)]), int(begin[-1]),
    )  # fmt: skip
    names = list(dict.fromkeys(shape.name for mesh in meshes for shape in mesh.shapes))
    groups: dict[str, Ints] = {}
    materials: dict[str, Ints] = {}
    for i, mesh in enumerate(meshes):
        mesh_groups = dict(mesh.groups)
        if len(meshes) > 1:
            mesh_groups.setdefault(mesh.name, np.arange(mesh.polygons.n_faces, dtype=np.int32))
        for target, held in ((groups, mesh_groups), (materials, mesh.materials)):
            for name, which in held.items():
                moved = (which + faces[i]).astype(np.int32)
                target[name] = np.concatenate([target[name], moved]) if name in target else moved
    colours = [mesh.colours for mesh in meshes if mesh.colours is not None]
    return Mesh(
        polygons, np.concatenate([mesh.positions for mesh in meshes]), textures_of(meshes), groups, materials=materials,
        colours=np.concatenate(colours) if len(colours) == len(meshes) else None,
        shapes=tuple(_together(name, meshes) for name in names), unit=unit, name=path.stem, path=path,
        notes=tuple(dict.fromkeys(notes)),
    )  # fmt: skip


def _together(name: str, meshes: list[Mesh]) -> Shape:
    """The shape of one name on all meshes. A mesh without an in-between of another gets it by interpolation."""
    found = [next((s for s in mesh.shapes if s.name == name), None) for mesh in meshes]
    if len(found) == 1 and found[0] is not None:
        return found[0]
    places = sorted({b.at for shape in found if shape is not None for b in shape.inbetweens})

    def at(weight: float) -> NDArray[np.float32]:
        pieces = [_at(shape, weight, mesh.n_vertices) for shape, mesh in zip(found, meshes, strict=True)]
        return np.concatenate(pieces).astype(np.float32)

    return Shape(name, at(1.0), tuple(InBetween(weight, at(weight)) for weight in places))


def _at(shape: Shape | None, weight: float, n: int) -> NDArray:
    """(n, 3) a shape at a weight: piecewise linear through its in-betweens, and extrapolated beyond them."""
    if shape is None:
        return np.zeros((n, 3), dtype=np.float32)
    stops: list[tuple[float, NDArray]] = [(0.0, np.zeros((n, 3))), (1.0, shape.delta)]
    stops = sorted([*stops, *((between.at, between.delta) for between in shape.inbetweens)], key=lambda stop: stop[0])
    exact = next((delta for place, delta in stops if place == weight), None)
    if exact is not None:
        return exact
    high = int(np.clip(np.searchsorted([place for place, _ in stops], weight), 1, len(stops) - 1))
    (a, low), (b, top) = stops[high - 1], stops[high]
    return low + (weight - a) / (b - a) * (top - low)
