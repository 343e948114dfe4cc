"""The mesh of a sculpt, in the formats of libraries and in OFF.

OFF, GLB and STL are read by trimesh, with its processing off: it would merge and reorder vertices. Moue's own readers
read OBJ, PLY, glTF as text, NPZ, USD, and GLB files that Moue wrote, which keep their vertices and polygons. Libraries,
whose vertex order is kept, are always read by Moue.

OFF: Geomview manual, section "OFF: Geometry Center Object File Format"; polygons become triangles. GLB: Khronos 2021,
"glTF 2.0 Specification"; every mesh of the scene at its place, in metres; materials, pictures and files
beside it are not opened. STL: 3D Systems 1989; equal corners are joined in the order of their first appearance.
"""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.gltf_file import GltfFile
from composer.formats.limits import check_positions
from composer.formats.mesh import Mesh
from composer.formats.obj_lines import read_raw
from composer.formats.registry import read_mesh, suffixes
from composer.formats.stl import is_binary, joined_corners
from composer.geometry.polygons import Polygons

SOURCE_ATTRIBUTE = b'"_SOURCE"'
THROUGH_TRIMESH = {".off": "OFF", ".glb": "GLB", ".stl": "STL"}


def sculpt_suffixes() -> list[str]:
    """The suffixes of the files that a sculpt is read from."""
    return [*suffixes(), *(each for each in THROUGH_TRIMESH if each not in suffixes())]


def read_sculpt_mesh(path: Path | str, unit: str | None = None) -> Mesh:
    """The mesh of a sculpt, positions in the file's unit; `unit` overrules what the file says.

    Raises MoueError, naming the file, where it cannot be used or has no faces.
    """
    path = Path(path)
    if path.suffix.lower() in THROUGH_TRIMESH and path.is_file() and not _is_ours(path) and not _is_text_stl(path):
        try:
            mesh = _through_trimesh(path)
        except MoueError:
            if path.suffix.lower() != ".stl":
                raise
            mesh = read_mesh(path)  # Moue's own reader gives the error with its place
        mesh = replace(mesh, unit=unit) if unit else mesh
    elif path.suffix.lower() == ".off" and not path.exists():
        raise MoueError("is not there", path)
    else:
        mesh = read_mesh(path, unit)
    if not mesh.polygons.n_faces:
        raise MoueError("holds no faces", path, hint="a sculpt is a mesh of polygons, not points alone")
    return mesh


def _is_ours(path: Path) -> bool:
    """Whether a GLB carries the vertices and polygons that it was made from, so that they come back unsplit."""
    return path.suffix.lower() == ".glb" and SOURCE_ATTRIBUTE in read_raw(path).tobytes()


def _is_text_stl(path: Path) -> bool:
    """Whether an STL is text, which Moue reads in less memory."""
    return path.suffix.lower() == ".stl" and not is_binary(path)


def _through_trimesh(path: Path) -> Mesh:
    suffix = path.suffix.lower()
    name = THROUGH_TRIMESH[suffix]
    if suffix == ".glb":
        _count_nodes(path)
    positions, triangles = _scene(read_raw(path).tobytes(), suffix[1:], name, path)
    if not len(triangles):
        raise MoueError("holds no faces", path, hint="a sculpt is a mesh of polygons, not points alone")
    check_positions(positions, path)
    if triangles.min() < 0 or triangles.max() >= len(positions):
        raise MoueError(f"a face uses a vertex that is not one of its {len(positions)}", path)
    if suffix == ".stl":
        return joined_corners(positions[triangles].reshape(-1, 3), path)
    polygons = Polygons(np.full(len(triangles), 3), triangles.ravel(), len(positions))
    return Mesh(polygons, positions, unit="m" if suffix == ".glb" else None, name=path.stem, path=path)


def _count_nodes(path: Path) -> None:
    """Raises MoueError for a scene of more nodes than a head has, before trimesh makes it; other faults it tells."""
    try:
        file = GltfFile(path)
    except MoueError:
        return
    file.items("nodes")


def _scene(data: bytes, kind: str, name: str, path: Path) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Positions (n, 3) and triangles (t, 3) of every mesh in the file, each at its place, one after the other."""
    import trimesh

    points, triangles, count = [np.zeros((0, 3))], [np.zeros((0, 3), dtype=np.int64)], 0
    try:
        scene = trimesh.load_scene(
            io.BytesIO(data), file_type=kind, process=False, maintain_order=True, skip_materials=True
        )
        for node in scene.graph.nodes_geometry:
            transform, which = scene.graph[node]
            mesh = scene.geometry[which]
            faces = np.asarray(getattr(mesh, "faces", ()), dtype=np.int64).reshape(-1, 3)
            if len(faces):
                at = np.asarray(mesh.vertices, dtype=np.float64) @ transform[:3, :3].T + transform[:3, 3]
                mirrored = np.linalg.det(transform[:3, :3]) < 0
                points.append(at)
                triangles.append((faces[:, ::-1] if mirrored else faces) + count)
                count += len(at)
    except Exception as error:  # trimesh raises errors of many types for damaged files
        raise MoueError(f"is damaged and cannot be read as {name} ({type(error).__name__})", path) from error
    return np.concatenate(points), np.concatenate(triangles)
