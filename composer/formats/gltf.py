"""glTF and GLB: one mesh with its shapes as morph targets, in metres.

Specification: Khronos 2021, "glTF 2.0 Specification" (registry.khronos.org/glTF), sections "Morph Targets",
"Accessors", "Sparse Accessors"; target names in `mesh.extras.targetNames` by convention.

Kept: shapes by name, texture coordinates, vertex colours, materials by name. Moue adds extras
(`composer.formats.gltf_polygons`) that keep polygons of any size, vertex order and groups. Positions are float32.
Lost: in-betweens, objects, material files, corners without a texture coordinate (they get 0, 0).
Read: every mesh of the scene, node transforms, sparse and quantised accessors, buffers inside the file, beside it or as
data URIs. Vertices that another program split at seams are joined. Not read: skins, cameras, compressed
meshes; animated weights are read and written by `gltf_weights.py`.
"""

from __future__ import annotations

from pathlib import Path

from composer.formats.arrival import UNSEEN, Arrival
from composer.formats.gltf_file import GltfFile
from composer.formats.gltf_read import read_scene
from composer.formats.gltf_write import write_gltf
from composer.formats.mesh import Mesh


def read(path: Path, told: Arrival = UNSEEN) -> Mesh:
    """The meshes of a glTF scene as one, in metres, the neutral `told` first. Raises MoueError for what cannot be used.
    """
    return read_scene(GltfFile(Path(path)), told)


def write(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh as .glb or .gltf; return notes on what was left out. Raises MoueError where it cannot be written."""
    return write_gltf(Path(path), mesh)
