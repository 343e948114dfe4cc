"""A mesh of the same head in another order, split at seams or cut into triangles, brought to a reference's order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.formats.mend_corners import by_corner
from composer.formats.mend_seams import welds
from composer.formats.mend_triangles import joins
from composer.formats.mesh import Mesh
from composer.formats.obj_text import ObjText
from composer.formats.registry import write_mesh
from composer.geometry.polygons import Polygons, read_only
from composer.head.head import InBetween, Shape
from composer.head.levels import HIGHEST_LEVEL, vertex_count
from composer.head.order import OrderMatch, OrderMismatch, match_order
from composer.head.order_difference import order_difference


@dataclass(frozen=True, eq=False)
class Likeness:
    """The match of a mesh with a reference: `vertices` (n,), the mesh's vertex for each vertex of the reference.

    `did` lists in words what was done, nothing for the same order; `decided` is what chose among several matches.
    """

    vertices: NDArray[np.int32]
    did: tuple[str, ...] = ()
    decided: str = "connectivity"


def likeness(
    reference: Mesh, mesh: Mesh, landmarks: NDArray | None = None, known: Sequence[tuple[Polygons, Likeness]] = ()
) -> Likeness:  # fmt: skip
    """The match of `mesh` with the `reference` in another order, welded at seams and joined from triangles as needed.

    `landmarks` (m, 2) are pairs of vertices of the reference and the mesh. `known` are earlier matches of files of the
    same program: the same polygons have the same match. Raises OrderMismatch (a MoueError) with the first place where
    the meshes differ, or MoueError where several matches fit equally well.
    """
    for polygons, before in known:
        if polygons.same_as(mesh.polygons):
            return before
    in_order = _of_one_order(reference, mesh)
    if in_order is not None:
        return in_order
    n, m = reference.n_vertices, mesh.n_vertices
    corners = by_corner(reference, mesh) if m != n else None
    if corners is not None:
        did = f"{m - n} vertices welded at seams" if m > n else f"{n - m} vertices split at seams"
        return Likeness(read_only(corners.astype(np.int32)), (did,), "corners")
    level = _other_level(reference.polygons, mesh.polygons)
    if level:
        raise OrderMismatch(None, level)
    first_error: MoueError | None = None
    for candidate in _candidates(reference, mesh):
        try:
            match = match_order(
                candidate.reference, candidate.polygons, candidate.reference_positions,
                mesh.positions[candidate.kept], reference.uv if candidate.whole else None,
                mesh.uv if candidate.whole else None, landmarks if candidate.whole else None,
            )  # fmt: skip
        except MoueError as error:
            first_error = first_error or error
            continue
        return _likeness_of(candidate, match)
    if first_error is not None:
        raise first_error
    different = order_difference(reference.polygons, mesh.polygons, reference.positions, mesh.positions)
    raise OrderMismatch(None, different.words if different else "is another mesh")


def in_order_of(reference: Mesh, mesh: Mesh, found: Likeness) -> Mesh:
    """The mesh's positions and shapes with the reference's polygons, texture coordinates, groups and materials."""
    v = found.vertices
    shapes = tuple(
        Shape(s.name, read_only(s.delta[v]), tuple(InBetween(b.at, read_only(b.delta[v])) for b in s.inbetweens))
        for s in mesh.shapes
    )
    colours = None if mesh.colours is None else mesh.colours[v]
    return replace(reference, positions=mesh.positions[v], colours=colours, shapes=shapes, unit=mesh.unit,
                   name=mesh.name, path=mesh.path, notes=mesh.notes)  # fmt: skip


def write_in_order(to: Path, reference: Mesh, mesh: Mesh, found: Likeness) -> tuple[str, ...]:
    """Write `in_order_of`; from OBJ to OBJ as the reference's text with the mesh's positions. Returns notes of losses.

    Raises MoueError where the file cannot be written.
    """
    source = reference.path
    if to.suffix.lower() == ".obj" and source is not None and source.suffix.lower() == ".obj":
        return ObjText(source).write(to, mesh.positions[found.vertices])
    return write_mesh(to, in_order_of(reference, mesh, found))


@dataclass(frozen=True, eq=False)
class _Candidate:
    """Polygons of the mesh over its vertices `kept`, to be matched with the reference's, and what was done for them."""

    reference: Polygons
    reference_positions: NDArray
    number: NDArray  # of the reference's vertices, in the reference that is matched
    polygons: Polygons
    kept: NDArray
    did: tuple[str, ...]
    whole: bool = False


def _of_one_order(reference: Mesh, mesh: Mesh) -> Likeness | None:
    """The likeness of a mesh whose vertices are in order already."""
    n = reference.n_vertices
    different = order_difference(reference.polygons, mesh.polygons, reference.positions, mesh.positions)
    same = read_only(np.arange(n, dtype=np.int32))
    if different is None:
        return Likeness(same)
    if different.kind == "scrambled":
        raise OrderMismatch(None, f"{different.words}; the polygons say nothing of the order")
    done = {
        "polygon order": "polygons put in order",
        "corner order": "polygons begun at their own corners",
        "turned over": "polygons turned round",
        "triangulated": "polygons put in the place of triangles",
    }.get(different.kind)
    turned = _turned(reference.polygons, mesh.polygons) if different.kind == "polygon order" else 0
    if turned:
        done = f"{turned} polygon{'s' * (turned > 1)} turned round"
    if done is None or different.words.endswith("where the reference has triangles"):
        return None
    return Likeness(same, (done,))


def _turned(reference: Polygons, other: Polygons) -> int:
    """How many polygons run the other way over the same vertices; 0 where the polygons stand in another order too."""
    if not np.array_equal(reference.counts, other.counts):
        return 0
    face, n = reference.corner_face.astype(np.int64), np.int64(reference.n_vertices)
    corners, other_corners = (np.sort(face * n + p.indices) for p in (reference, other))
    if not np.array_equal(corners, other_corners):
        return 0
    steps = [(face * n + p.indices) * n + p.indices[p.next_corner] for p in (reference, other)]
    return len(np.unique(face[~np.isin(steps[0], steps[1])]))


def _other_level(reference: Polygons, other: Polygons) -> str:
    """In words, where one mesh has the counts of the other subdivided."""
    n, m = reference.n_vertices, other.n_vertices
    coarse, fine = (reference, m) if m > n else (other, n)
    for k in range(1, HIGHEST_LEVEL + 1):
        if m != n and vertex_count(coarse, k) == fine:
            steps = f"{k} level{'s' * (k > 1)}"
            return f"has {m:,} vertices, the reference {n:,}: {steps} {'above' if m > n else 'below'} it"
    return ""


def _candidates(reference: Mesh, mesh: Mesh) -> Iterator[_Candidate]:
    n, m = reference.n_vertices, mesh.n_vertices
    all_of_mesh, all_of_reference = np.arange(m), np.arange(n)
    if m > n:
        for kept, polygons in welds(mesh.polygons, mesh.positions, n):
            did = (f"{m - n} vertices welded at seams",)
            yield from _cut(reference.polygons, reference.positions, all_of_reference, polygons, mesh, kept, did)
    elif m < n:
        for first, polygons in welds(reference.polygons, reference.positions, m):
            number = _numbers(reference.polygons.indices, polygons.indices, n)
            did = (f"{n - m} vertices split at seams",)
            yield from _cut(polygons, reference.positions[first], number, mesh.polygons, mesh, all_of_mesh, did)
    else:
        yield from _cut(reference.polygons, reference.positions, all_of_reference, mesh.polygons, mesh, all_of_mesh, ())
        return
    if m != n:  # said with its place, where nothing helped
        yield _Candidate(reference.polygons, reference.positions, all_of_reference, mesh.polygons, all_of_mesh, ())


def _numbers(indices: NDArray, welded: NDArray, n: int) -> NDArray[np.int64]:
    number = np.zeros(n, dtype=np.int64)
    number[indices] = welded
    return number


def _cut(
    polygons: Polygons, positions: NDArray, number: NDArray, own_polygons: Polygons, mesh: Mesh, kept: NDArray,
    did: tuple[str, ...],
) -> Iterator[_Candidate]:  # fmt: skip
    """The mesh as it is, or joined from triangles where its numbers say that it was cut."""
    if own_polygons.n_faces != polygons.n_faces:
        for joined in joins(own_polygons, polygons.counts, mesh.positions[kept]):
            yield _Candidate(polygons, positions, number, joined, kept, (*did, "triangles joined"))
    yield _Candidate(polygons, positions, number, own_polygons, kept, did, whole=not did)


def _likeness_of(candidate: _Candidate, match: OrderMatch) -> Likeness:
    vertices = candidate.kept[match.vertices[candidate.number]].astype(np.int32)
    did = list(candidate.did)
    if not np.array_equal(match.vertices, np.arange(len(match.vertices))):
        did.append("vertices put in order")
    if match.turned:
        did.append("polygons turned round")
    return Likeness(read_only(vertices), tuple(did), match.decided)
