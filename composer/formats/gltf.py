"""glTF and GLB: one mesh with its shapes as morph targets, in metres.

Specification: Khronos 2021, "glTF 2.0 Specification" (registry.khronos.org/glTF), sections "Morph Targets",
"Accessors", "Sparse Accessors"; target names in `mesh.extras.targetNames` by convention.

Kept: shapes by name, texture coordinates, vertex colours, materials by name, and by what Moue adds of its own
(`composer.formats.gltf_polygons`): polygons of any size, vertex order and groups. Positions are float32.
Lost: in-betweens, objects, material files, corners without a texture coordinate (they get 0, 0).
Read: every mesh of the scene, node transforms, sparse and quantised accessors, buffers inside, beside or as
data URIs; of another program's file the vertices split at seams are joined again. Not read: skins,
animation, cameras, compressed meshes.
"""

from __future__ import annotations

from pathlib import Path

from composer.formats.gltf_file import GltfFile
from composer.formats.gltf_read import read_scene
from composer.formats.gltf_write import write_gltf
from composer.formats.mesh import Mesh


def read(path: Path) -> Mesh:
    """The meshes of a glTF scene as one, in metres. Raises MoueError for what cannot be used."""
    return read_scene(GltfFile(Path(path)))


def write(path: Path, mesh: Mesh) -> tuple[str, ...]:
    """Write a mesh as .glb or .gltf; see the module's words. Notes of what was left out. MoueError if it
    cannot.
    """
    return write_gltf(Path(path), mesh)
