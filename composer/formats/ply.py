"""PLY: one mesh of polygons, as text or in either byte order.

Specification: Turk 1994, "The PLY Polygon File Format", Stanford University.

Kept: polygons of any size, or triangle strips as triangles, vertex order, vertex colours (as 8 bits), texture
coordinates per corner (the face property `texcoord`) or read per vertex (s t, u v, texture_u texture_v). Lost: groups,
objects, materials, shapes, normals, other properties; a texture coordinate is written for every corner, zeros where a
corner has none. Written in binary, little endian, positions as float64 where float32 would lose more than 1e-7 of the
head.
"""

from __future__ import annotations

from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh
from composer.formats.obj_lines import read_raw
from composer.formats.ply_body import Element, Table, read_ascii, read_binary
from composer.geometry.polygons import Polygons
from composer.head.atomic import write_whole
from composer.head.head import TextureCoordinates

HEADER_LIMIT = 1 << 16
TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip
TEXTURE = (("s", "t"), ("u", "v"), ("texture_u", "texture_v"), ("texture_s", "texture_t"))


def read(path: Path) -> Mesh:
    """The mesh of a PLY file. Raises MoueError, with the line where there is one, for what cannot be used."""
    path = Path(path)
    data = read_raw(path)
    form, elements, comments, body, lines = _header(data, path)
    reader = read_ascii if form == "ascii" else read_binary
    order = ">" if form == "binary_big_endian" else "<"
    tables = reader(data[body:], elements, path, order, lines)
    if "vertex" not in tables:
        raise MoueError("has no vertices", path)
    return _mesh(tables, path, comments)


def _header(data: NDArray[np.uint8], path: Path) -> tuple[str, list[Element], list[str], int, int]:
    """Form, elements, comments, where the body begins, and how many lines the header has."""
    start = data[:HEADER_LIMIT].tobytes()
    if not start.startswith((b"ply\n", b"ply\r")):
        raise MoueError("does not begin with 'ply'", path, 1, hint="is it a PLY file?")
    end = start.find(b"end_header")
    stop = start.find(b"\n", end)
    if end < 0 or stop < 0:
        raise MoueError("has no end of its header", path, hint="the file is cut short")
    form, elements, comments = "", [], []
    rows = start[:end].decode("latin-1").splitlines()
    for number, row in enumerate(rows[1:], 2):
        words = row.split()
        try:
            if not words or words[0] == "obj_info":
                continue
            if words[0] == "comment":
                comments.append(" ".join(words[1:]))
            elif words[0] == "format":
                form = words[1]
            elif words[0] == "element":
                elements.append(Element(words[1], int(words[2])))
                if elements[-1].count < 0:
                    raise ValueError
            elif words[0] == "property" and words[1] == "list":
                elements[-1].properties.append((words[4], TYPES[words[3]], TYPES[words[2]]))
            elif words[0] == "property":
                elements[-1].properties.append((words[2], TYPES[words[1]], None))
            else:
                raise ValueError
        except (IndexError, ValueError, KeyError):
            raise MoueError(f"{row.strip()[:40]!r} is not a line of a PLY header", path, number) from None
    if form not in ("ascii", "binary_little_endian", "binary_big_endian"):
        raise MoueError(f"its format {form!r} is not known", path, hint="ascii and binary PLY are read")
    for element in elements:
        names = [name for name, _, _ in element.properties]
        if len(set(names)) != len(names) or sum(e.name == element.name for e in elements) > 1:
            raise MoueError(f"declares {element.name!r} or one of its properties twice", path)
    return form, elements, comments, stop + 1, len(rows) + 1


def _mesh(tables: dict[str, Table], path: Path, comments: list[str]) -> Mesh:
    vertex = tables["vertex"]
    if any(axis not in vertex.columns for axis in "xyz"):
        raise MoueError("has vertices without x, y and z", path)
    positions = np.stack([vertex.columns[axis].astype(np.float64) for axis in "xyz"], axis=1)
    if not len(positions):
        raise MoueError("holds no vertices", path)
    check_positions(positions, path)
    face = tables.get("face", Table({}, {}))
    lists = face.lists.get("vertex_indices", face.lists.get("vertex_index"))
    counts, indices = lists if lists is not None else (np.zeros(0, np.int64), np.zeros(0, np.int64))
    if len(indices) and not (indices.min() >= 0 and indices.max() < len(positions)):
        bad = int(np.argmax((indices < 0) | (indices >= len(positions))))
        polygon = int(np.searchsorted(np.cumsum(counts), bad, side="right"))
        raise MoueError(f"polygon {polygon} uses vertex {int(indices[bad])} of {len(positions)}", path)
    notes: tuple[str, ...] = ()
    if not len(counts) and "tristrips" in tables:
        triangles = _of_strips(tables["tristrips"], len(positions), path)
        counts, indices = np.full(len(triangles), 3), triangles.ravel()
        notes = (f"{len(triangles)} triangles come from strips.",)
    try:
        polygons = Polygons(counts, indices, len(positions))
    except MoueError as error:
        raise MoueError(str(error), path) from None
    return Mesh(
        polygons, positions, _texture(vertex, face, polygons, path), colours=_colours(vertex),
        name=path.stem, path=path, notes=notes,
    )  # fmt: skip


def _of_strips(table: Table, n_vertices: int, path: Path) -> NDArray[np.int64]:
    """(t, 3) the triangles of triangle strips: any three vertices in a row, every second triangle turned over so that
    all face the same way. -1 begins a new strip (common practice of files in the Stanford repository, no source).
    Triangles that use a vertex twice only join strips and are left out.
    """
    lists = table.lists.get("vertex_indices", table.lists.get("vertex_index"))
    if lists is None:
        raise MoueError("has triangle strips without vertex_indices", path)
    counts, flat = lists[0], lists[1].astype(np.int64)
    if len(flat) and not (flat.min() >= -1 and flat.max() < n_vertices):
        bad = int(flat[(flat < -1) | (flat >= n_vertices)][0])
        raise MoueError(f"a triangle strip uses vertex {bad} of {n_vertices}", path)
    row = np.repeat(np.arange(len(counts)), counts)
    fresh = (flat < 0) | np.r_[True, row[1:] != row[:-1]] if len(flat) else np.zeros(0, dtype=bool)
    place = np.arange(len(flat))
    begin = np.maximum.accumulate(np.where(fresh, place + (flat < 0), 0)) if len(flat) else place
    last = place[(flat >= 0) & (place - begin >= 2)]
    triangles = np.stack([flat[last - 2], flat[last - 1], flat[last]], axis=1)
    odd = (last - begin[last]) % 2 == 1
    triangles[odd] = triangles[odd][:, [1, 0, 2]]
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    return triangles[whole]


def _colours(vertex: Table) -> NDArray[np.float64] | None:
    if any(name not in vertex.columns for name in ("red", "green", "blue")):
        return None
    columns = [vertex.columns[name] for name in ("red", "green", "blue")]
    scale = 1.0 if columns[0].dtype.kind == "f" else 1.0 / 255.0
    colours = np.stack(columns, axis=1).astype(np.float64) * scale
    return colours if np.isfinite(colours).all() else None


def _texture(vertex: Table, face: Table, polygons: Polygons, path: Path) -> TextureCoordinates | None:
    if "texcoord" in face.lists:
        counts, values = face.lists["texcoord"]
        if np.array_equal(counts, 2 * polygons.counts.astype(np.int64)) and np.isfinite(values).all():
            uv, at = np.unique(values.reshape(-1, 2).astype(np.float64), axis=0, return_inverse=True)
            return TextureCoordinates(uv, at.reshape(-1).astype(np.int32))
        if len(values):
            raise MoueError("its texture coordinates do not fit its polygons", path)
    for u, v in TEXTURE:
        if u in vertex.columns and v in vertex.columns:
            uv = np.stack([vertex.columns[u], vertex.columns[v]], axis=1).astype(np.float64)
            return TextureCoordinates(uv, polygons.indices.copy()) if np.isfinite(uv).all() else None
    return None


def write(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh as binary PLY; return notes on what was left out. Raises MoueError where it cannot be written."""
    write_whole(path, lambda file: _fill(file, mesh), sync=False)
    held = {
        "groups": mesh.groups, "objects": mesh.objects, "materials": mesh.materials, "shapes": mesh.shapes,
    }  # fmt: skip
    left_out = [name for name, things in held.items() if things]
    return (f"PLY leaves out {', '.join(left_out)}.",) if left_out else ()


def _fill(file: IO[bytes], mesh: Mesh) -> None:
    single = mesh.positions.astype(np.float32)
    exact = np.abs(single - mesh.positions).max(initial=0.0) <= 1e-7 * mesh.diagonal
    number, kind = ("float", "<f4") if exact else ("double", "<f8")
    header = ["ply", "format binary_little_endian 1.0", f"element vertex {mesh.n_vertices}"]
    header += [f"property {number} {axis}" for axis in "xyz"]
    fields = [(axis, kind) for axis in "xyz"]
    if mesh.colours is not None:
        header += [f"property uchar {name}" for name in ("red", "green", "blue")]
        fields += [(name, "u1") for name in ("red", "green", "blue")]
    counts = mesh.polygons.counts
    size = "uchar" if int(counts.max(initial=0)) < 128 else "int"
    header += [f"element face {len(counts)}", f"property list {size} int vertex_indices"]
    if mesh.uv is not None:
        header.append(f"property list {size} float texcoord")
    file.write(("\n".join([*header, "end_header"]) + "\n").encode("ascii"))
    rows = np.empty(mesh.n_vertices, dtype=fields)
    for place, axis in enumerate("xyz"):
        rows[axis] = mesh.positions[:, place]
    if mesh.colours is not None:
        for place, name in enumerate(("red", "green", "blue")):
            rows[name] = np.rint(np.clip(mesh.colours[:, place], 0, 1) * 255)
    file.write(rows.tobytes())
    file.write(_faces(mesh, "u1" if size == "uchar" else "<i4"))


def _faces(mesh: Mesh, size: str) -> bytes:
    """The rows of the polygons: each a count and its vertices, then a count and its texture coordinates."""
    counts, starts = mesh.polygons.counts.astype(np.int64), mesh.polygons.starts[:-1]
    width = np.dtype(size).itemsize
    uv = mesh.uv is not None
    length = width + 4 * counts + (width + 8 * counts if uv else 0)
    begin = np.cumsum(length) - length
    out = np.zeros(int(length.sum()), dtype=np.uint8)
    within = np.arange(len(mesh.polygons.indices)) - np.repeat(starts, counts)
    _put(out, begin, counts.astype(size))
    _put(out, np.repeat(begin + width, counts) + 4 * within, mesh.polygons.indices.astype("<i4"))
    if mesh.uv is not None:
        second = begin + width + 4 * counts
        _put(out, second, (2 * counts).astype(size))
        table = np.vstack([mesh.uv.uv, np.zeros((1, 2))]).astype("<f4")
        _put(
            out,
            np.repeat(second + width, counts) + 8 * within,
            table[mesh.uv.indices].view("<i8").reshape(-1),
        )
    return out.tobytes()


def _put(out: NDArray[np.uint8], at: NDArray[np.int64], values: NDArray) -> None:
    """Write each of `values` (m,) at its byte."""
    octets = np.ascontiguousarray(values).view(np.uint8).reshape(len(values), -1)
    for place in range(octets.shape[1]):
        out[at + place] = octets[:, place]
