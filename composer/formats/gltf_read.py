"""A head from glTF: the meshes of the scene in one, seams joined, morph targets as shapes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.formats.arrival import UNSEEN, Arrival
from composer.formats.gltf_file import GltfFile
from composer.formats.gltf_piece import Piece
from composer.formats.gltf_polygons import from_own_polygons, with_own_shapes
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh, textures_of
from composer.formats.weld import first_of_each
from composer.geometry.polygons import Polygons
from composer.head.head import Shape, TextureCoordinates

Matrix = NDArray[np.float64]
MOST_TARGETS = 20_000
"""The targets of one mesh (our choice): fifty times a large library."""


def read_scene(file: GltfFile, told: Arrival = UNSEEN) -> Mesh:
    """Every mesh of the scene as one, in metres; the neutral is `told` before any displacement is read, its seams
    joined by place alone. Raises MoueError where there is none, or where numbers are missing."""
    notes: list[str] = []
    pieces = [_piece(file, node, matrix, notes) for node, matrix in _instances(file, notes)]
    pieces = [piece for piece in pieces if len(piece.positions)]
    if not pieces:
        raise file.wrong("holds no mesh of triangles")
    for piece in pieces:
        check_positions(piece.positions, file.path)
    own = [from_own_polygons(piece) for piece in pieces]
    if told is not UNSEEN:
        told.neutral(_one([mesh or _joined(piece, []) for mesh, piece in zip(own, pieces, strict=True)], file, []))
    meshes = []
    for piece, mesh in zip(pieces, own, strict=True):
        piece.deltas = piece.displacements()
        for name, delta in piece.deltas.items():
            check_positions(delta, file.path, what=f"shape {name[:40]!r}, vertex")
        meshes.append(_joined(piece, notes) if mesh is None else with_own_shapes(mesh, piece))
    return _one(meshes, file, notes)


def _instances(file: GltfFile, notes: list[str]) -> Iterator[tuple[dict[str, Any], Matrix]]:
    """Nodes with a mesh, each with its matrix in the scene."""
    nodes = file.items("nodes")
    scenes = file.items("scenes")
    if scenes:
        roots = file.items("nodes", int, file.item("scenes", file.tree.get("scene", 0)))
    else:
        children = {child for node in nodes for child in file.items("children", int, node)}
        roots = [index for index in range(len(nodes)) if index not in children]
    waiting = [(index, np.eye(4)) for index in reversed(roots)]
    seen: set[int] = set()
    while waiting:
        index, above = waiting.pop()
        node = file.item("nodes", index)
        if index in seen:
            raise file.wrong(f"node {index} is there twice in the scene")
        seen.add(index)
        matrix = above @ _matrix(file, node)
        waiting += [(child, matrix) for child in reversed(file.items("children", int, node))]
        if "mesh" in node:
            if "skin" in node:
                notes.append("Skins (bones) are left out.")
            yield node, matrix
    if not nodes:
        for index in range(len(file.items("meshes"))):
            yield {"mesh": index}, np.eye(4)


def _matrix(file: GltfFile, node: dict[str, Any]) -> Matrix:
    def numbers(name: str, default: list[float]) -> NDArray[np.float64]:
        value = node.get(name, default)
        if not isinstance(value, list) or len(value) != len(default):
            raise file.wrong(f"a node has a {name} that is not {len(default)} numbers")
        try:
            out = np.array(value, dtype=np.float64)
        except (TypeError, ValueError, OverflowError):
            out = np.array([np.nan])
        if not np.isfinite(out).all():
            raise file.wrong(f"a node has a {name} that is not numbers")
        return out

    if "matrix" in node:
        return numbers("matrix", [0.0] * 16).reshape(4, 4).T
    x, y, z, w = numbers("rotation", [0.0, 0.0, 0.0, 1.0])
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
    out = np.eye(4)
    out[:3, :3] = turn * numbers("scale", [1.0, 1.0, 1.0])
    out[:3, 3] = numbers("translation", [0.0, 0.0, 0.0])
    return out


def _piece(file: GltfFile, node: dict[str, Any], matrix: Matrix, notes: list[str]) -> Piece:
    """All triangle primitives of one node's mesh, without displacements; primitives over the same vertices share them.
    """
    mesh = file.item("meshes", node["mesh"])
    extras = mesh["extras"] if isinstance(mesh.get("extras"), dict) else {}
    names = target_names(file, mesh, extras, notes)
    blocks: dict[tuple, tuple[int, dict[str, Any]]] = {}
    triangles: list[NDArray[np.int32]] = []
    materials: dict[str, list[NDArray[np.int32]]] = {}
    total = faces = 0
    for primitive in file.items("primitives", dict, mesh):
        attributes = primitive.get("attributes")
        if not isinstance(attributes, dict) or "POSITION" not in attributes:
            continue
        if primitive.get("mode", 4) not in (4, 5, 6):
            notes.append("Points and lines are left out.")
            continue
        key = (repr(sorted(attributes.items())), repr(primitive.get("targets")))
        if key not in blocks:
            blocks[key] = (total, primitive)
            total += file.count(attributes["POSITION"])
        corners = _triangles(file, primitive, file.count(attributes["POSITION"]))
        if np.linalg.det(matrix[:3, :3]) < 0:  # section 3.7.4: a mirrored node turns its triangles over
            corners = corners[:, ::-1]
        triangles.append(corners + blocks[key][0])
        material = _material(file, primitive)
        if material:
            materials.setdefault(material, []).append(np.arange(faces, faces + len(corners), dtype=np.int32))
        faces += len(corners)
    parts = [_vertices(file, primitive) for _, primitive in blocks.values()]
    turn = matrix[:3, :3]
    plain = np.array_equal(matrix, np.eye(4))

    def together(which: str) -> Any:
        columns = [part[which] for part in parts]
        return np.concatenate(columns) if columns and all(c is not None for c in columns) else None

    positions = together("positions")
    positions = np.zeros((0, 3)) if positions is None else positions

    def displacements() -> dict[str, NDArray[np.float32]]:
        read = [_targets(file, primitive, names) for _, primitive in blocks.values()]
        deltas = {}
        for place, name in enumerate(names):
            delta = np.concatenate([each[place] for each in read]) if read else np.zeros((0, 3), np.float32)
            deltas[name] = delta if plain else (delta @ turn.T).astype(np.float32)
        return deltas

    return Piece(
        str(node.get("name") or mesh.get("name") or ""),
        extras,
        positions if plain else positions @ turn.T + matrix[:3, 3],
        np.concatenate(triangles) if triangles else np.zeros((0, 3), np.int32),
        together("uv"),
        together("colours"),
        together("source"),
        displacements,
        {name: np.concatenate(held) for name, held in materials.items()},
    )


def target_names(file: GltfFile, mesh: dict[str, Any], extras: dict[str, Any], notes: list[str]) -> list[str]:
    """The names of a mesh's targets; numbers, told in `notes`, where it has none."""
    primitives = file.items("primitives", dict, mesh)
    counts = {len(file.items("targets", dict, primitive)) for primitive in primitives}
    if len(counts) > 1:
        raise file.wrong("has primitives of one mesh with different numbers of targets")
    count = counts.pop() if counts else 0
    if count > MOST_TARGETS:
        raise file.wrong(f"has {count:,} targets, more than any library")
    names = extras.get("targetNames", [])
    if isinstance(names, list) and len(names) == count and all(isinstance(name, str) and name for name in names):
        doubles = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < count else []
        if doubles:
            raise file.wrong(f"two targets are named {doubles[0][:40]!r}", "rename one of them")
        return list(names)
    if count:
        notes.append("The targets have no names, so they are numbered.")
    return [f"shape_{index + 1:03d}" for index in range(count)]


def _triangles(file: GltfFile, primitive: dict[str, Any], n: int) -> NDArray[np.int32]:
    if primitive.get("indices") is None:
        order = np.arange(n, dtype=np.int32)
    else:
        order = file.accessor(primitive["indices"], 1)[:, 0]
        if order.dtype.kind not in "u":
            raise file.wrong("has triangle indices that are not whole numbers")
        if len(order) and int(order.max()) >= n:
            raise file.wrong(f"a triangle uses vertex {int(order.max())} of {n}")
        order = order.astype(np.int32)
    mode = primitive.get("mode", 4)
    if mode == 4:
        return order[: len(order) // 3 * 3].reshape(-1, 3)
    if mode == 6:
        return np.stack([np.full(max(len(order) - 2, 0), order[:1].sum()), order[1:-1], order[2:]], axis=1)
    strip = np.stack([order[:-2], order[1:-1], order[2:]], axis=1)
    strip[1::2] = strip[1::2, ::-1]
    return strip


def _material(file: GltfFile, primitive: dict[str, Any]) -> str:
    if primitive.get("material") is None:
        return ""
    index = primitive["material"]
    return str(file.item("materials", index).get("name") or f"material_{index}")


def _vertices(file: GltfFile, primitive: dict[str, Any]) -> dict[str, Any]:
    attributes = primitive["attributes"]
    positions = file.accessor(attributes["POSITION"], 3).astype(np.float64)
    n = len(positions)

    def optional(name: str, width: int) -> NDArray[np.float64] | None:
        if name not in attributes:
            return None
        values = file.accessor(attributes[name], width).astype(np.float64)
        if len(values) != n:
            raise file.wrong(f"has {len(values)} values of {name} for {n} vertices")
        return values if np.isfinite(values).all() else None

    uv = optional("TEXCOORD_0", 2)
    if uv is not None:
        uv = np.stack([uv[:, 0], 1.0 - uv[:, 1]], axis=1)
    colours = None
    if "COLOR_0" in attributes:
        four = file.item("accessors", attributes["COLOR_0"]).get("type") == "VEC4"
        colours = optional("COLOR_0", 4 if four else 3)
        colours = None if colours is None else colours[:, :3]
    source = optional("_SOURCE", 1)
    vertex = None if source is None else np.rint(source[:, 0]).astype(np.int64)
    return {"positions": positions, "uv": uv, "colours": colours, "source": vertex}


def _targets(file: GltfFile, primitive: dict[str, Any], names: list[str]) -> list[NDArray[np.float32]]:
    """(n, 3) what each target of a primitive moves."""
    n, deltas = file.count(primitive["attributes"]["POSITION"]), []
    for name, target in zip(names, file.items("targets", dict, primitive), strict=True):
        if "POSITION" not in target:
            deltas.append(np.zeros((n, 3), dtype=np.float32))
            continue
        delta = file.accessor(target["POSITION"], 3, most=n).astype(np.float32)
        if len(delta) != n:
            raise file.wrong(f"shape {name[:40]!r} has {len(delta)} vertices, its mesh {n}")
        deltas.append(delta)
    return deltas


def _joined(piece: Piece, notes: list[str]) -> Mesh:
    """The mesh of another program, with vertices joined that share a position and every displacement."""
    first, joined = first_of_each(piece.positions)
    if len(first) < len(piece.positions):
        for delta in piece.deltas.values():
            _, moves = first_of_each(delta)
            first, joined = first_of_each(np.stack([joined, moves], axis=1))
    n = len(first)
    if n < len(piece.positions):
        notes.append(f"{len(piece.positions) - n} vertices split at seams were joined again.")
    triangles = joined[piece.triangles]
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    if not whole.all():
        notes.append(f"{int(np.count_nonzero(~whole))} triangles without area were left out.")
    kept = triangles[whole]
    uv = None
    if piece.uv is not None:
        uv = TextureCoordinates(piece.uv, piece.triangles[whole].ravel().astype(np.int32))
    rank = np.cumsum(whole) - 1
    materials = {name: rank[faces[whole[faces]]].astype(np.int32) for name, faces in piece.materials.items()}
    return Mesh(
        Polygons(np.full(len(kept), 3), kept.ravel(), n), piece.positions[first], uv, materials=materials,
        colours=None if piece.colours is None else piece.colours[first],
        shapes=tuple(Shape(name, delta[first]) for name, delta in piece.deltas.items()), name=piece.name,
    )  # fmt: skip


def _one(meshes: list[Mesh], file: GltfFile, notes: list[str]) -> Mesh:
    """All the meshes as one, a group for each where there are several; shapes of one name are one shape."""
    sizes = [mesh.n_vertices for mesh in meshes]
    n, begin = sum(sizes), np.cumsum([0, *sizes])
    faces = np.cumsum([0, *(mesh.polygons.n_faces for mesh in meshes)])
    polygons = Polygons(
        np.concatenate([mesh.polygons.counts for mesh in meshes]),
        np.concatenate([mesh.polygons.indices + begin[i] for i, mesh in enumerate(meshes)]), n,
    )  # fmt: skip
    names = list(dict.fromkeys(shape.name for mesh in meshes for shape in mesh.shapes))
    shapes = []
    for name in names:
        delta = np.zeros((n, 3), dtype=np.float32)
        for i, mesh in enumerate(meshes):
            for shape in mesh.shapes:
                if shape.name == name:
                    delta[begin[i] : begin[i + 1]] = shape.delta
        shapes.append(Shape(name, delta))
    groups: dict[str, NDArray[np.int32]] = {}
    materials: dict[str, NDArray[np.int32]] = {}
    for i, mesh in enumerate(meshes):
        mesh_groups = dict(mesh.groups)
        if len(meshes) > 1:
            mesh_groups.setdefault(mesh.name or f"mesh_{i}", np.arange(mesh.polygons.n_faces, dtype=np.int32))
        for target, held in ((groups, mesh_groups), (materials, mesh.materials)):
            for name, which in held.items():
                moved = (which + faces[i]).astype(np.int32)
                target[name] = np.concatenate([target[name], moved]) if name in target else moved
    coloured = all(mesh.colours is not None for mesh in meshes)
    colours = np.concatenate([mesh.colours for mesh in meshes if mesh.colours is not None]) if coloured else None
    notes += [note for mesh in meshes for note in mesh.notes]
    return Mesh(
        polygons, np.concatenate([mesh.positions for mesh in meshes]), textures_of(meshes), groups,
        materials=materials, colours=colours, shapes=tuple(shapes),
        unit="m", name=file.path.stem, path=file.path,
        notes=tuple(dict.fromkeys(notes)),
    )  # fmt: skip
