"""The cage of a subdivided mesh: Catmull-Clark undone, connectivity by parity and positions by least squares.

After a step every polygon is a quad with the corners cage vertex, edge point, face point, edge point. Every edge joins
an edge point to one of the others, and in every quad the cage vertex is opposite the face point. So two two-colourings
of each piece give the kinds, up to their names. Face points never lie on a border, and edge points have four edges,
three on a border. Where several assignments remain, the one whose cage subdivides to the mesh is taken.

The finer positions T are S C for a subdivided cage C, with S the factor of `composer.head.levels`; C is found in least
squares by conjugate gradients on S'S (Hestenes and Stiefel 1952), whose condition is small (about 64 on regular
quads), so that no matrix is factored and a level of millions of vertices can be undone. Where the step maps some
displacement to zero (alternating on a cube, whose valences are all 3) the cage is one of several that subdivide alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from composer.geometry.half_edges import HalfEdges
from composer.geometry.polygons import Polygons, read_only
from composer.head.levels import Refinement

Ints = NDArray[np.int32]
TOLERANCE = 1e-13
"""Conjugate gradients end where the residual is below this fraction of the right side: float64 rounding."""
ROUNDS = 400
"""The most steps of conjugate gradients; a safety limit."""


@dataclass(frozen=True, eq=False)
class Cage:
    """The cage of one step of subdivision.

    `polygons` of the cage, with vertices and polygons in the order of their points in the finer mesh;
    `step` the subdivision of them; `order` (n1,) the finer mesh's vertex of each of the step's; `positions` (n0, 3)
    in the finer mesh's unit; `error` the largest distance of the subdivided cage from the finer mesh.
    """

    polygons: Polygons
    step: Refinement
    order: Ints
    positions: NDArray[np.float64]
    error: float


def cage_of(polygons: Polygons, positions: NDArray) -> Cage | None:
    """The cage of a mesh that is one Catmull-Clark step finer; None where its connectivity does not come from a step.

    `polygons` are the finer mesh's in any order, `positions` (n1, 3) in any unit. A mesh that carries detail beyond
    its subdivided cage gives the nearest cage; `error` is its distance.
    """
    if not polygons.n_faces or not bool(np.all(polygons.counts == 4)):
        return None
    mesh, points = HalfEdges(polygons), np.asarray(positions, dtype=np.float64)
    ways, piece = _kinds(mesh)
    candidates = [(kind, cage) for kind in ways if (cage := _placed(_cage(mesh, kind), points)) is not None]
    if len(candidates) < 2:
        return candidates[0][1] if candidates else None
    worst = np.zeros((len(candidates), int(piece.max()) + 1))
    for row, (_, cage) in zip(worst, candidates, strict=True):
        distance = np.linalg.norm(cage.step.apply(cage.positions) - points[cage.order], axis=1)
        np.maximum.at(row, piece[cage.order], distance)
    pick = np.argmin(worst, axis=0)
    kinds = np.array([kind for kind, _ in candidates])
    return _placed(_cage(mesh, kinds[pick[piece], np.arange(len(piece))]), points)


def cage_polygons(polygons: Polygons) -> tuple[Polygons, Ints] | None:
    """The connectivity of a mesh with one step of Catmull-Clark undone, and for each vertex of `Refinement` of it the
    vertex (n1,) of the mesh: its cage's vertices first. None where the connectivity does not come from a step.

    Where several cages subdivide to these polygons it is the one with most quads: positions would tell, and are not
    asked.
    """
    if not polygons.n_faces or not bool(np.all(polygons.counts == 4)):
        return None
    mesh = HalfEdges(polygons)
    ways, _ = _kinds(mesh)
    return _cage(mesh, ways[0]) if ways else None


def solve(step: Refinement, finer: NDArray) -> NDArray[np.float64]:
    """(n0, c) the coarse values whose lift by `step` is nearest to `finer` (n1, c) in least squares."""
    s = step.matrix
    at: sp.csr_matrix = s.T.tocsr()
    right = at @ np.asarray(finer, dtype=np.float64)
    x = np.asarray(finer[: s.shape[1]], dtype=np.float64).copy()
    residual = right - at @ (s @ x)
    direction = residual.copy()
    size = (residual * residual).sum(axis=0)
    stop = TOLERANCE**2 * np.maximum((right * right).sum(axis=0), 1e-300)
    for _ in range(ROUNDS):
        if (size <= stop).all():
            break
        forward = at @ (s @ direction)
        step_length = size / np.maximum((direction * forward).sum(axis=0), 1e-300)
        x += step_length * direction
        residual -= step_length * forward
        size, before = (residual * residual).sum(axis=0), size
        direction = residual + (size / np.maximum(before, 1e-300)) * direction
    return x


def coarser(polygons: Polygons, positions: NDArray, steps: int, tolerance: float) -> list[Cage]:
    """The cages of up to `steps` steps, as long as each subdivides to within `tolerance` of the finer mesh.

    `tolerance` is a fraction of the bounding box's diagonal. The last cage is the coarsest; the list is empty for a
    mesh that is no subdivision.
    """
    cages: list[Cage] = []
    points = np.asarray(positions, dtype=np.float64)
    most = tolerance * float(np.linalg.norm(np.ptp(points, axis=0)))
    while len(cages) < steps:
        cage = cage_of(polygons, points)
        if cage is None or cage.error > most:
            break
        cages.append(cage)
        polygons, points = cage.polygons, cage.positions
    return cages


VERTEX, EDGE, FACE = 0, 1, 2


def _kinds(mesh: HalfEdges) -> tuple[list[Ints], Ints]:
    """The possible assignments of kinds (n,) to vertices, and the piece of each vertex.

    A piece with fewer assignments than another repeats its last. First come those whose cage has the fewest polygons
    that are no quads: after one step a mesh has quads alone, so only such a cage can itself be undone. Empty where some
    piece has none.
    """
    n = mesh.polygons.n_vertices
    colour, piece, odd = _two_colours(mesh.vertex, mesh.vertex[mesh.following], n)
    used, border = np.zeros(n, dtype=bool), mesh.polygons.border_vertices
    used[mesh.vertex] = True
    ways, good, odd_faces = [], [], []
    for edge_colour in (0, 1):
        edge = colour == edge_colour
        chosen = np.flatnonzero(~edge[mesh.vertex])
        other, _, odd_too = _two_colours(mesh.vertex[chosen], mesh.vertex[mesh.following[mesh.following[chosen]]], n)
        for face_colour in (0, 1):
            face = ~edge & (other == face_colour)
            kind = np.where(edge, EDGE, np.where(face, FACE, VERTEX)).astype(np.int32)
            wrong = (face & (border | (mesh.valence < 3))) | (edge & (mesh.valence != np.where(border, 3, 4)))
            wrong |= odd | odd_too
            ways.append(np.where(used, kind, VERTEX).astype(np.int32))
            good.append(np.bincount(piece[wrong & used], minlength=int(piece.max()) + 1) == 0)
            odd_faces.append(np.bincount(piece[face & (mesh.valence != 4)], minlength=int(piece.max()) + 1))
    if not np.any(good, axis=0).all():
        return [], piece
    fits = np.array(good)
    count = fits.sum(axis=0)
    order = np.argsort(np.where(fits, odd_faces, n), axis=0, kind="stable")
    picks = [order[np.minimum(number, count - 1), np.arange(len(count))] for number in range(int(count.max()))]
    return [np.array(ways)[pick[piece], np.arange(n)] for pick in picks], piece


def _two_colours(begin: NDArray, end: NDArray, n: int) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    """(n,) 0 or 1, different at both ends of every link, the piece of each vertex, and whether its piece has none.

    In the double cover, with (v, 0) linked to (w, 1) and (v, 1) to (w, 0), a two-colourable piece splits in two.
    """
    rows, columns = np.concatenate([begin, begin + n]), np.concatenate([end + n, end])
    cover = sp.csr_matrix((np.ones(len(rows), np.int8), (rows, columns)), shape=(2 * n, 2 * n))
    label = connected_components(cover, directed=False)[1]
    zero, one = label[:n], label[n:]
    linked = np.zeros(n, dtype=bool)
    linked[begin], linked[end] = True, True
    piece = np.unique(np.minimum(zero, one), return_inverse=True)[1].reshape(-1)
    return (zero > one).astype(np.int32), piece.astype(np.int32), linked & (zero == one)


def _cage(mesh: HalfEdges, kind: Ints) -> tuple[Polygons, Ints] | None:
    """The cage's polygons and the order of its subdivision in the finer mesh, from the kinds of the vertices."""
    corner = np.flatnonzero(kind[mesh.vertex] == FACE)
    if len(corner) != mesh.polygons.n_faces:
        return None
    vertices, faces = np.flatnonzero(kind == VERTEX), np.flatnonzero(kind == FACE)
    number = np.full(mesh.polygons.n_vertices, -1, dtype=np.int64)
    number[vertices], number[faces] = np.arange(len(vertices)), np.arange(len(faces))
    if (mesh.twin[mesh.before[corner]] < 0).any():
        return None
    of = number[mesh.vertex[corner]]
    at = np.full(len(mesh.vertex), -1, dtype=np.int64)
    at[corner] = np.arange(len(corner))
    counts = np.bincount(of, minlength=len(faces))
    now = np.zeros(len(faces), dtype=np.int64)
    now[of[::-1]] = np.arange(len(corner))[::-1]
    starts = np.cumsum(counts) - counts
    indices = np.full(len(corner), -1, dtype=np.int64)
    sides = np.full(len(corner), -1, dtype=np.int64)
    for step in range(int(counts.max())):
        open_ = counts > step
        c = corner[now[open_]]
        indices[starts[open_] + step] = number[mesh.vertex[mesh.following[mesh.following[c]]]]
        sides[starts[open_] + step] = mesh.vertex[mesh.before[c]]
        now[open_] = at[mesh.twin[mesh.before[c]]]
    if (counts < 3).any() or (indices < 0).any():
        return None
    cage = Polygons(counts, indices, len(vertices))
    edge_point = np.full(len(cage.edges), -1, dtype=np.int64)
    edge_point[cage.corner_edge] = sides
    order = np.concatenate([vertices, edge_point, faces])
    if len(order) != mesh.polygons.n_vertices or not np.array_equal(np.sort(order), np.arange(len(order))):
        return None
    return cage, read_only(order.astype(np.int32))


def _placed(made: tuple[Polygons, Ints] | None, positions: NDArray[np.float64]) -> Cage | None:
    if made is None:
        return None
    polygons, order = made
    step = Refinement(polygons)
    finer = positions[order]
    coarse = solve(step, finer)
    off = np.linalg.norm(step.apply(coarse) - finer, axis=1)
    return Cage(polygons, step, order, read_only(coarse), float(off.max(initial=0.0)))
