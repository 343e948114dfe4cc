"""A head as glTF: triangles, split at texture seams, with morph targets in metres, sparse where that is smaller."""

from __future__ import annotations

import base64
import json
import struct
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.gltf_file import BIN_CHUNK, JSON_CHUNK
from composer.formats.gltf_polygons import polygons_out, triangles_of
from composer.formats.gltf_weights import WeightAnimation, animation_tree
from composer.formats.mesh import Mesh
from composer.formats.obj_normals import corner_normals
from composer.head.atomic import write_whole
from composer.units import mm_per

VERTICES, TRIANGLES = 34962, 34963
EXACT_IN_FLOAT = 2**24
TYPES = {1: "SCALAR", 2: "VEC2", 3: "VEC3"}
MATT = {"metallicFactor": 0.0, "roughnessFactor": 0.8}


class _Builder:
    """Accessors, the views behind them, and the bytes behind those."""

    def __init__(self) -> None:
        self.accessors: list[dict[str, Any]] = []
        self.views: list[dict[str, Any]] = []
        self.blocks: list[NDArray[np.uint8]] = []
        self.size = 0

    def view(self, array: NDArray, target: int | None = None) -> int:
        """A buffer view over these bytes."""
        block = np.ascontiguousarray(array).reshape(-1).view(np.uint8)
        entry: dict[str, Any] = {"buffer": 0, "byteOffset": self.size, "byteLength": len(block)}
        if target is not None:
            entry["target"] = target
        self.views.append(entry)
        pad = -len(block) % 4
        self.blocks += [block, np.zeros(pad, dtype=np.uint8)] if pad else [block]
        self.size += len(block) + pad
        return len(self.views) - 1

    def accessor(self, array: NDArray, target: int | None, bounds: bool = False) -> int:
        """A plain accessor over (count,) or (count, width)."""
        rows = array.reshape(len(array), -1)
        entry: dict[str, Any] = {
            "bufferView": self.view(array, target),
            "componentType": {"<f4": 5126, "<u4": 5125, "<u2": 5123}[rows.dtype.str],
            "count": len(rows),
            "type": TYPES[rows.shape[1]],
        }
        if bounds:
            entry["min"], entry["max"] = rows.min(axis=0).tolist(), rows.max(axis=0).tolist()
        self.accessors.append(entry)
        return len(self.accessors) - 1

    def displacement(self, array: NDArray[np.float32], bounds: bool) -> int:
        """An accessor over (count, 3), sparse where that takes fewer bytes, and without values where all are zero."""
        at = np.flatnonzero(array[:, 0].astype(bool) | array[:, 1].astype(bool) | array[:, 2].astype(bool))
        small = len(array) <= 65535
        if len(at) * (12 + (2 if small else 4)) + 200 >= array.nbytes:
            return self.accessor(array, VERTICES, bounds)
        entry: dict[str, Any] = {"componentType": 5126, "count": len(array), "type": "VEC3"}
        if bounds:
            entry["min"], entry["max"] = array.min(axis=0).tolist(), array.max(axis=0).tolist()
        if len(at):
            entry["sparse"] = {
                "count": len(at),
                "indices": {
                    "bufferView": self.view(at.astype("<u2" if small else "<u4")),
                    "componentType": 5123 if small else 5125,
                },
                "values": {"bufferView": self.view(array[at])},
            }
        self.accessors.append(entry)
        return len(self.accessors) - 1


def write_gltf(path: Path, mesh: Mesh, animation: WeightAnimation | None = None) -> tuple[str, ...]:
    """Write a mesh as .glb, or as .gltf with its buffer inside; return notes on what was left out. With
    an `animation` the weights of its shapes go over time.

    Raises MoueError where the mesh has no polygons, is too large for the format, or cannot be written.
    """
    if not mesh.polygons.n_faces:
        raise MoueError("cannot be written: glTF needs triangles, and the mesh has no polygons", path)
    notes: list[str] = []
    builder = _Builder()
    tree = _tree(mesh, builder, notes)
    if animation is not None and mesh.shapes:
        tree["animations"] = [animation_tree(builder, animation)]
    tree["buffers"] = [{"byteLength": builder.size}]
    if path.suffix.lower() == ".gltf":
        data = b"".join(block.tobytes() for block in builder.blocks)
        tree["buffers"][0]["uri"] = "data:application/octet-stream;base64," + base64.b64encode(data).decode("ascii")
        text = _json(tree)
        write_whole(path, lambda file: file.write(text), sync=False)
        return tuple(notes)
    text = _json(tree)
    text += b" " * (-len(text) % 4)
    total = 12 + 8 + len(text) + 8 + builder.size
    if total >= 2**32:
        raise MoueError("would be larger than the 4 GiB that GLB allows", path, hint="write NPZ")

    def fill(file: IO[bytes]) -> None:
        file.write(struct.pack("<4sIIII", b"glTF", 2, total, len(text), JSON_CHUNK) + text)
        file.write(struct.pack("<II", builder.size, BIN_CHUNK))
        for block in builder.blocks:
            file.write(block)

    write_whole(path, fill, sync=False)
    return tuple(notes)


def _json(tree: dict[str, Any]) -> bytes:
    return json.dumps(tree, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode("utf-8")


def _tree(mesh: Mesh, builder: _Builder, notes: list[str]) -> dict[str, Any]:
    metres = mm_per(mesh.unit or "mm") / 1000.0
    source, corner_vertex, uv_index = _split(mesh)
    positions = (mesh.positions * metres).astype("<f4")
    attributes = {"POSITION": builder.accessor(positions[source], VERTICES, bounds=True)}
    normals = _normals(mesh, mesh.positions)
    attributes["NORMAL"] = builder.accessor(normals[source], VERTICES)
    if mesh.uv is not None:
        uv = np.where((uv_index >= 0)[:, None], mesh.uv.uv[np.maximum(uv_index, 0)], (0.0, 1.0))
        uv[:, 1] = 1.0 - uv[:, 1]
        attributes["TEXCOORD_0"] = builder.accessor(uv.astype("<f4"), VERTICES)
    if mesh.colours is not None:
        colours = np.clip(mesh.colours, 0.0, 1.0).astype("<f4")
        attributes["COLOR_0"] = builder.accessor(colours[source], VERTICES)
    if mesh.n_vertices <= EXACT_IN_FLOAT:
        attributes["_SOURCE"] = builder.accessor(source.astype("<f4"), VERTICES)
    else:
        notes.append("The vertex order is not kept: glTF can hold that of 16,777,216 vertices at most.")
    targets = [_target(mesh, place, builder, metres, source, normals) for place in range(len(mesh.shapes))]
    materials, primitives, order = _primitives(mesh, builder, attributes, targets, corner_vertex, len(source))
    entry: dict[str, Any] = {"primitives": primitives}
    if mesh.name:
        entry["name"] = mesh.name
    if targets:
        entry["weights"] = [0.0] * len(targets)
    extras: dict[str, Any] = {"targetNames": [shape.name for shape in mesh.shapes]} if targets else {}
    if "_SOURCE" in attributes:
        extras["polygons"] = polygons_out(mesh, order)
    entry["extras"] = extras
    if any(shape.inbetweens for shape in mesh.shapes):
        notes.append("glTF leaves out in-betweens.")
    node: dict[str, Any] = {"mesh": 0}
    if mesh.name:
        node["name"] = mesh.name
    return {
        "asset": {"version": "2.0", "generator": "Moue"}, "scene": 0,
        "scenes": [{"nodes": [0]}], "nodes": [node],
        "meshes": [entry], "materials": materials,
        "accessors": builder.accessors, "bufferViews": builder.views,
    }  # fmt: skip


def _split(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Vertices with one texture coordinate each: the head's vertex of each (w,), the one of each polygon
    corner (k,), and the texture coordinate of each (w,), -1 for none.
    """
    indices = mesh.polygons.indices.astype(np.int64)
    if mesh.uv is None:
        return np.arange(mesh.n_vertices), indices, np.full(mesh.n_vertices, -1)
    several = len(mesh.uv.uv) + 1
    key = indices * several + mesh.uv.indices + 1
    loose = np.setdiff1d(np.arange(mesh.n_vertices), indices) * several
    unique, where = np.unique(np.concatenate([key, loose]), return_inverse=True)
    return unique // several, where.reshape(-1)[: len(indices)], unique % several - 1


def _normals(mesh: Mesh, positions: NDArray) -> NDArray[np.float32]:
    """(n, 3) unit vertex normals, (0, 0, 1) where the surface has none."""
    polygons = mesh.polygons
    everything = np.ones(mesh.n_vertices, dtype=bool)
    normals, _ = corner_normals(
        polygons.counts, polygons.indices, polygons.indices, positions, everything, mesh.n_vertices
    )
    normals[~normals.any(axis=1)] = (0.0, 0.0, 1.0)
    return normals.astype("<f4")


def _target(
    mesh: Mesh,
    place: int,
    builder: _Builder,
    metres: float,
    source: NDArray[np.int64],
    normals: NDArray[np.float32],
) -> dict[str, int]:
    delta = mesh.shapes[place].delta
    moved = _normals(mesh, mesh.positions + delta)
    turned = moved - normals
    turned[np.abs(turned) < 1e-6] = 0.0
    return {
        "POSITION": builder.displacement((delta * np.float64(metres)).astype("<f4")[source], bounds=True),
        "NORMAL": builder.displacement(turned[source], bounds=False),
    }


def _primitives(
    mesh: Mesh,
    builder: _Builder,
    attributes: dict[str, int],
    targets: list[dict[str, int]],
    corner_vertex: NDArray[np.int64],
    n_written: int,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], NDArray[np.int32]]:
    """A primitive for each material, all over the same vertices; and the polygons in the order they were
    written.
    """
    label = np.zeros(mesh.polygons.n_faces, dtype=np.int32)
    names = list(mesh.materials)
    for number, name in reversed(list(enumerate(names, 1))):
        label[mesh.materials[name]] = number
    order = np.argsort(label, kind="stable").astype(np.int32)
    kind = "<u2" if n_written <= 65535 else "<u4"
    materials: list[dict[str, Any]] = []
    primitives: list[dict[str, Any]] = []
    for number in np.unique(label):
        faces = order[label[order] == number]
        corners = mesh.polygons.triangle_corners[triangles_of(mesh.polygons, faces)]
        primitive: dict[str, Any] = {
            "attributes": attributes,
            "indices": builder.accessor(corner_vertex[corners].reshape(-1).astype(kind), TRIANGLES),
            "material": len(materials),
        }
        if targets:
            primitive["targets"] = targets
        primitives.append(primitive)
        materials.append({"pbrMetallicRoughness": MATT, **({"name": names[number - 1]} if number else {})})
    return materials, primitives, order
