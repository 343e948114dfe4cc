"""OBJ: polygons as text, one target a file.

Specification: Wavefront, "Object Files (.obj)", Advanced Visualizer manual, appendix B1; vertex colours after
`v x y z` as many programs write them.

Kept: polygons of any size, vertex order, texture coordinates, groups, objects, materials by name and the
names of their files, vertex colours. Read as well: negative indices, continued lines, LF, CRLF and CR.
Lost on a plain read and write: normals, smoothing groups, comments, lines and points (`l`, `p`), weights `w`.
A target baked over its neutral's own text (`composer.formats.obj_text`) keeps all of that.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.mesh import Mesh
from composer.formats.obj_digits import Tables, decimals_for, farthest_of, integers_text, rows_of, word
from composer.formats.obj_kept import write_once
from composer.formats.obj_lines import OTHER, F, Lines, find_lines, read_bytes
from composer.formats.obj_scan import scan_corners, scan_texture, scan_vertices
from composer.geometry.polygons import Polygons
from composer.head.atomic import write_whole
from composer.head.head import TextureCoordinates

Ints = NDArray[np.int32]
ROWS = 1 << 15
WIDE = 16
"""Polygons of more corners than this are written one by one (our choice; it changes the time alone)."""
FEW = 12
"""Runs of at most this many polygons are written one by one, which is faster for them (our choice)."""


def read(path: Path) -> Mesh:
    """The mesh of an OBJ file. Raises MoueError, with the line where there is one, for a file that cannot be used."""
    path = Path(path)
    return mesh_of_lines(find_lines(read_bytes(path)), path)


def mesh_of_lines(lines: Lines, path: Path) -> Mesh:
    """The mesh in a text whose lines are known."""
    positions, colours = scan_vertices(lines, path)
    if not len(positions):
        raise MoueError("holds no vertices", path, hint="is it an OBJ file?")
    corners = scan_corners(lines, path)
    try:
        polygons = Polygons(corners.counts, corners.vertices, len(positions))
    except MoueError as error:
        raise MoueError(str(error), path) from None
    uv = None
    if corners.texture is not None and (corners.texture >= 0).any():
        uv = TextureCoordinates(scan_texture(lines, path), corners.texture)
    names = _Names(polygons.n_faces)
    notes: set[str] = set()
    faces_before = np.cumsum(lines.kinds == F)
    for line in lines.of_kind(OTHER):
        names.take(lines.text(int(line)), int(faces_before[line]), notes)
    names.close()
    return Mesh(
        polygons,
        positions,
        uv,
        names.faces("g"),
        names.faces("o"),
        names.faces("usemtl"),
        tuple(names.material_files),
        colours,
        name=path.stem,
        path=path,
        notes=tuple(sorted(notes)),
    )


class _Names:
    """Which faces carry which group, object and material: the names in force, and where each began."""

    def __init__(self, n_faces: int) -> None:
        self.n_faces = n_faces
        self.material_files: list[str] = []
        self.current: dict[str, tuple[list[str], int]] = {"g": ([], 0), "o": ([], 0), "usemtl": ([], 0)}
        self.ranges: dict[str, dict[str, list[tuple[int, int]]]] = {"g": {}, "o": {}, "usemtl": {}}

    def take(self, text: str, face: int, notes: set[str]) -> None:
        """One line that is neither a vertex nor a face, after `face` faces of the file."""
        key, _, rest = text.partition(" ") if " " in text else text.partition("\t")
        rest = rest.strip()
        if key == "g":
            self._change(key, rest.split(), face)
        elif key in self.current:
            self._change(key, [rest] if rest else [], face)
        elif key == "mtllib":
            self.material_files.append(rest)
        elif key in ("l", "p"):
            notes.add("Lines and points of the file are left out.")
        elif key in ("curv", "curv2", "surf", "cstype"):
            notes.add("Curves and free-form surfaces of the file are left out.")

    def _change(self, key: str, names: list[str], face: int) -> None:
        old, since = self.current[key]
        if face > since:
            for name in dict.fromkeys(old):
                self.ranges[key].setdefault(name, []).append((since, face))
        self.current[key] = (names, face)

    def close(self) -> None:
        """The end of the file ends every name in force."""
        for key in self.current:
            self._change(key, [], self.n_faces)

    def faces(self, key: str) -> dict[str, Ints]:
        """Face indices by name, of one kind of name."""
        return {
            name: np.concatenate([np.arange(a, b, dtype=np.int32) for a, b in ranges])
            for name, ranges in self.ranges[key].items()
        }


def write(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh as a new OBJ text, which keeps what this module lists; return notes on what was left out.

    Positions keep 1e-7 of the head's size. Raises MoueError where the file cannot be written.
    """
    write_whole(path, lambda file: _fill(file, mesh), sync=False)
    return ("OBJ holds one target a file: the shapes are left out.",) if mesh.shapes else ()


def _fill(file: IO[bytes], mesh: Mesh) -> None:
    for name in mesh.material_files:
        file.write(f"mtllib {_in_a_line(name)}\n".encode())
    farthest = farthest_of(mesh.positions)
    tables = Tables(decimals_for(mesh.diagonal, farthest))
    columns = mesh.positions
    if mesh.colours is not None:
        columns = np.concatenate([mesh.positions, mesh.colours], axis=1)
        tables = Tables(max(6, tables.decimals) if farthest < 1e8 else tables.decimals)
    _rows(file, "v", columns, tables)
    write_once(file, mesh, _behind)


def _behind(file: IO[bytes], mesh: Mesh) -> None:
    """What stands behind the vertices: texture coordinates and polygons."""
    if mesh.uv is not None:
        _rows(file, "vt", mesh.uv.uv, Tables(decimals_for(1e-1, farthest_of(mesh.uv.uv))))
    _faces(file, mesh)


def _rows(file: IO[bytes], key: str, numbers: NDArray, tables: Tables) -> None:
    for low in range(0, len(numbers), ROWS):
        block = np.asarray(numbers[low : low + ROWS], dtype=np.float64)
        words: list = [word(key)]
        for column in range(block.shape[1]):
            words += tables.columns(block[:, column])
        file.write(rows_of([*words, word("\n")], len(block)))


def _faces(file: IO[bytes], mesh: Mesh) -> None:
    """The polygons in their order, a `g`, `o` or `usemtl` line wherever a name begins or ends."""
    names = [(key, held) for key, held in (("o", mesh.objects), ("g", mesh.groups), ("usemtl", mesh.materials)) if held]
    tables = Tables(0)
    for low, high, headers in _stretches(mesh.polygons.n_faces, names):
        file.write(headers.encode())
        _stretch(file, mesh, low, high, tables)


def _stretches(n_faces: int, names: list[tuple[str, dict[str, Ints]]]) -> Iterator[tuple[int, int, str]]:
    """(first face, one past the last, the lines before them) wherever the faces' names stay the same."""
    labels, words = [], []
    for key, held in names:
        label, sets = _labels(n_faces, held)
        labels.append(label)
        words.append([f"{key} {' '.join(map(_in_a_line, chosen))}" if chosen else key for chosen in sets])
    changes = np.zeros(n_faces, dtype=bool)
    changes[:1] = True
    for label in labels:
        changes[1:] |= label[1:] != label[:-1]
    begins = np.flatnonzero(changes).tolist()
    written = [-1] * len(labels)
    for low, high in zip(begins, [*begins[1:], n_faces], strict=True):
        out = ""
        for place, label in enumerate(labels):
            now = int(label[low])
            nothing_yet = written[place] < 0 and words[place][now] in ("o", "g", "usemtl")
            if now != written[place] and not nothing_yet:
                out += words[place][now] + "\n"
                written[place] = now
        yield low, high, out


def _in_a_line(name: str) -> str:
    """A name as a line of the text can hold it: what ends a line, or cannot be seen, becomes an underscore."""
    return "".join("_" if unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp") else sign for sign in name)


def _labels(n_faces: int, held: dict[str, Ints]) -> tuple[NDArray[np.int64], list[list[str]]]:
    """(f,) a number for each face's set of names, and those sets."""
    label = np.zeros(n_faces, dtype=np.int64)
    sets: list[list[str]] = [[]]
    for name, faces in held.items():
        old, where = np.unique(label[faces], return_inverse=True)
        label[faces] = len(sets) + where
        sets += [[*sets[int(o)], name] for o in old]
    return label, sets


def _stretch(file: IO[bytes], mesh: Mesh, low: int, high: int, tables: Tables) -> None:
    starts, counts = mesh.polygons.starts, mesh.polygons.counts
    if high - low <= FEW:
        for face in range(low, high):
            file.write(_one_face(mesh, int(starts[face]), int(starts[face + 1])))
        return
    face = low
    while face < high:
        stop = min(face + ROWS, high)
        wide = np.flatnonzero(counts[face:stop] > WIDE)
        if len(wide) and wide[0] == 0:
            file.write(_one_face(mesh, int(starts[face]), int(starts[face + 1])))
            face += 1
            continue
        stop = face + int(wide[0]) if len(wide) else stop
        file.write(_narrow(mesh, starts[face:stop], counts[face:stop], tables))
        face = stop


def _narrow(mesh: Mesh, starts: NDArray[np.int64], counts: Ints, tables: Tables) -> NDArray[np.uint8]:
    words: list = [word("f")]
    for corner in range(int(counts.max())):
        exists = counts > corner
        at = np.where(exists, starts + corner, starts)
        words += [np.where(exists, np.uint32(32), np.uint32(0))]
        words += _where(exists, integers_text(mesh.polygons.indices[at] + np.int64(1), tables))
        if mesh.uv is not None:
            texture = mesh.uv.indices[at]
            has = exists & (texture >= 0)
            words += [np.where(has, np.uint32(47), np.uint32(0))]
            words += _where(has, integers_text(np.maximum(texture, 0) + np.int64(1), tables))
    return rows_of([*words, word("\n")], len(counts))


def _where(exists: NDArray[np.bool_], words: list) -> list:
    return words if exists.all() else [np.where(exists, column, np.uint32(0)) for column in words]


def _one_face(mesh: Mesh, begin: int, end: int) -> bytes:
    vertices = (mesh.polygons.indices[begin:end] + 1).tolist()
    if mesh.uv is None:
        return ("f " + " ".join(map(str, vertices)) + "\n").encode()
    texture = (mesh.uv.indices[begin:end] + 1).tolist()
    return (
        "f " + " ".join(f"{v}/{t}" if t else str(v) for v, t in zip(vertices, texture, strict=True)) + "\n"
    ).encode()
