"""The extras by which Moue reads its own glTF files back without loss: polygons and vertex order.

`mesh.extras.polygons` holds `vertices` (their number), `counts` (one number where all polygons have the same),
`indices`, and `groups` and `materials` (polygon numbers by name). The attribute `_SOURCE` gives the head's
vertex for every vertex of the file. The triangles are the fans of the polygons in the order of `order`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.gltf_piece import Piece
from composer.formats.mesh import Mesh
from composer.geometry.polygons import Polygons
from composer.head.head import Shape, TextureCoordinates

Ints = NDArray[np.int32]


def polygons_out(mesh: Mesh, order: Ints) -> dict[str, Any]:
    """The extras of a mesh whose polygons were written as triangles in `order` (f,)."""
    counts = mesh.polygons.counts
    alike = len(counts) > 0 and int(counts.min()) == int(counts.max())
    out: dict[str, Any] = {
        "vertices": mesh.n_vertices,
        "counts": int(counts[0]) if alike else counts.tolist(),
        "indices": mesh.polygons.indices.tolist(),
    }
    if not np.array_equal(order, np.arange(len(order))):
        out["order"] = order.tolist()
    for name, held in (("groups", mesh.groups), ("materials", mesh.materials)):
        if held:
            out[name] = {key: faces.tolist() for key, faces in held.items()}
    return out


def from_own_polygons(piece: Piece) -> Mesh | None:
    """The mesh that Moue wrote to the file, without shapes; None where another program wrote or changed it."""
    extras = piece.extras.get("polygons")
    if piece.source is None or not isinstance(extras, dict):
        return None
    n, indices = extras.get("vertices"), _integers(extras.get("indices"))
    if not isinstance(n, int) or isinstance(n, bool) or indices is None or not 0 < n <= len(piece.source):
        return None
    counts = extras.get("counts")
    if isinstance(counts, int) and not isinstance(counts, bool) and counts > 2 and len(indices) % counts == 0:
        counts = [counts] * (len(indices) // counts)
    sizes = _integers(counts)
    try:
        polygons = Polygons(sizes, indices, n) if sizes is not None else None
    except MoueError:
        return None
    first = _first_of_sources(piece.source, n)
    if polygons is None or first is None:
        return None
    faces = polygons.n_faces
    return Mesh(
        polygons,
        piece.positions[first],
        _texture(piece, polygons, extras),
        _names(extras.get("groups"), faces),
        materials=_names(extras.get("materials"), faces),
        colours=None if piece.colours is None else piece.colours[first],
        name=piece.name,
    )


def with_own_shapes(mesh: Mesh, piece: Piece) -> Mesh:
    """A mesh that `from_own_polygons` made, with the piece's displacements as its shapes."""
    first = None if piece.source is None else _first_of_sources(piece.source, mesh.n_vertices)
    assert first is not None
    return replace(mesh, shapes=tuple(Shape(name, delta[first]) for name, delta in piece.deltas.items()))


def _integers(values: Any) -> NDArray[np.int64] | None:
    if not isinstance(values, list):
        return None
    try:
        out = np.array(values)
    except (ValueError, OverflowError):
        return None
    if out.ndim != 1 or (len(out) and out.dtype.kind not in "iu"):
        return None
    whole = out.astype(np.int64)
    return whole if not len(whole) or (whole.min() >= 0 and whole.max() < 2**31) else None


def _first_of_sources(source: NDArray[np.int64], n: int) -> NDArray[np.intp] | None:
    """(n,) a vertex of the file for each vertex of the head; None where one has none."""
    if len(source) and (source.min() < 0 or source.max() >= n):
        return None
    first = np.full(n, -1, dtype=np.intp)
    first[source[::-1]] = np.arange(len(source) - 1, -1, -1)
    return first if (first >= 0).all() else None


def _texture(piece: Piece, polygons: Polygons, extras: dict[str, Any]) -> TextureCoordinates | None:
    """Texture coordinates per corner, from the triangles that the polygons were written as."""
    if piece.uv is None or piece.source is None:
        return None
    order = _integers(extras["order"]) if "order" in extras else np.arange(polygons.n_faces)
    if order is None or len(order) != polygons.n_faces or (len(order) and order.max() >= polygons.n_faces):
        return None
    corners = polygons.triangle_corners[triangles_of(polygons, order)]
    if len(corners) != len(piece.triangles):
        return None
    if not np.array_equal(polygons.indices[corners], piece.source[piece.triangles]):
        return None
    at = np.full(len(polygons.indices), -1, dtype=np.int32)
    at[corners.ravel()] = piece.triangles.ravel()
    used, small = np.unique(at[at >= 0], return_inverse=True)
    at[at >= 0] = small
    return TextureCoordinates(piece.uv[used], at)


def triangles_of(polygons: Polygons, order: NDArray) -> NDArray[np.int64]:
    """The triangles of the polygons in `order`, as rows of `polygons.triangles`."""
    per_face = (polygons.counts - 2).astype(np.int64)
    begin = np.cumsum(per_face) - per_face
    sizes = per_face[order]
    within = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return np.repeat(begin[order], sizes) + within


def _names(held: Any, n_faces: int) -> dict[str, Ints]:
    out: dict[str, Ints] = {}
    for name, faces in held.items() if isinstance(held, dict) else ():
        which = _integers(faces)
        if which is not None and (not len(which) or which.max() < n_faces):
            out[name] = which.astype(np.int32)
    return out
