"""Detail: the difference of a sculpted or scanned level from the subdivided cage, in local frames of that surface.

With S the subdivision to level k and F(X) an orthonormal frame at each vertex of a surface X, the detail of a
target T at level k over its cage C is F(S C)' (T - S C). Added to another pose of the cage, in that pose's own
frames, it turns with the skin. A frame consists of the vertex normal and the direction to the vertex's lowest-numbered
neighbour. It turns with the surface, so detail does not change with a rigid motion of the head.

Details are float32. A `Detail` computes those of the shapes at first use, one at a time, and keeps them in memory or,
with a `folder`, in memory-mapped files, so that a library larger than memory can be used.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.geometry.polygons import Polygons
from composer.head.head import Head
from composer.head.levels import Refinement, levels, refine
from composer.head.symmetry import MirrorMap, mirror_at_level

BLOCK = 1 << 18
"""Vertices or polygons that are worked on at a time: 20 MB of frames. It changes memory alone; a design choice."""
DetailKey = tuple[str, bool]
TargetAt = Callable[[str], NDArray | None]


class Frames:
    """Orthonormal frames on a mesh of quads at any positions; the part from connectivity is computed once."""

    def __init__(self, polygons: Polygons) -> None:
        """Take polygons that are all quads, as at every level above the cage. Raises MoueError for others."""
        if not np.all(polygons.counts == 4):
            raise MoueError("local frames need a mesh of quads", hint="take a level above the cage")
        faces, n = polygons.n_faces, polygons.n_vertices
        self._quads = polygons.indices.reshape(-1, 4)
        ones = np.ones(4 * faces)
        self._gather = sp.csr_matrix((ones, polygons.indices, polygons.starts), shape=(faces, n)).T.tocsr()
        both = np.concatenate([polygons.edges, polygons.edges[:, ::-1]])
        lowest = np.full(n, n)
        np.minimum.at(lowest, both[:, 0], both[:, 1])
        self._toward = np.where(lowest < n, lowest, np.arange(n))

    def at(self, positions: NDArray) -> NDArray[np.float64]:
        """(n, 3, 3) at positions (n, 3): rows are tangent, bitangent, normal; the identity where they are undefined."""
        return self._rows(positions, self._normals(positions), slice(0, len(positions)))

    def into(self, positions: NDArray, offsets: NDArray) -> NDArray[np.float64]:
        """(n, 3) the offsets (n, 3) from positions (n, 3), in the frames there."""
        return self._by_blocks("nij,nj->ni", positions, offsets)

    def out_of(self, positions: NDArray, local: NDArray) -> NDArray[np.float64]:
        """(n, 3) the offsets from positions (n, 3) that are `local` (n, 3) in the frames there."""
        return self._by_blocks("nij,ni->nj", positions, local)

    def _by_blocks(self, product: str, positions: NDArray, vectors: NDArray) -> NDArray[np.float64]:
        """(n, 3) a product of every frame and its vector; frames are made for `BLOCK` vertices at a time."""
        normals, out = self._normals(positions), np.empty((len(positions), 3))
        for begin in range(0, len(positions), BLOCK):
            rows = slice(begin, begin + BLOCK)
            out[rows] = np.einsum(product, self._rows(positions, normals, rows), vectors[rows])
        return out

    def _normals(self, positions: NDArray) -> NDArray[np.float64]:
        """(n, 3) unit normals of the vertices, zero where they are undefined."""
        across = np.empty((len(self._quads), 3))
        for begin in range(0, len(self._quads), BLOCK):
            a, b, c, d = (positions[self._quads[begin : begin + BLOCK, i]] for i in range(4))
            across[begin : begin + BLOCK] = np.cross(c - a, d - b)
        normal = self._gather @ across
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        return np.asarray(np.divide(normal, length, out=normal, where=length > 0))

    def _rows(self, positions: NDArray, normals: NDArray, rows: slice) -> NDArray[np.float64]:
        """(k, 3, 3) the frames of some vertices, from the normals (n, 3) of all."""
        normal = normals[rows]
        toward = positions[self._toward[rows]] - positions[rows]
        reach = np.linalg.norm(toward, axis=1)
        toward -= (toward * normal).sum(axis=1, keepdims=True) * normal
        tangent_length = np.linalg.norm(toward, axis=1)
        frame = np.empty((len(normal), 3, 3))
        np.divide(toward, tangent_length[:, None], out=toward, where=tangent_length[:, None] > 0)
        frame[:, 0], frame[:, 1], frame[:, 2] = toward, np.cross(normal, toward), normal
        frame[~normal.any(axis=1) | (tangent_length <= 1e-6 * reach)] = np.eye(3)
        return frame


class Detail:
    """The details of a library that also exists at level k, with vertices in the order of `composer.head.levels`."""

    def __init__(
        self, head: Head, k: int, neutral: NDArray, target_at: TargetAt, *, folder: Path | None = None,
        steps: Sequence[Refinement] | None = None,
    ) -> None:  # fmt: skip
        """Take the cage's head, the level k in 1 to 8, the neutral (n_k, 3) mm there, and a function for its targets.

        `target_at(name)` gives a shape's target (n_k, 3) mm at level k, or None for a shape without one; such a
        shape has the neutral's detail. With `folder`, an existing directory, details lie in files there;
        `steps` are those of `composer.head.levels.levels`, if already computed.
        Raises MoueError where the level is out of range or the neutral has another number of vertices.
        """
        self.steps = levels(head.polygons, k) if steps is None else list(steps)
        if not self.steps:
            raise MoueError("detail needs level 1 or above, not 0")
        self.head, self.k, self._target_at, self._folder = head, k, target_at, folder
        self.frames = Frames(self.steps[-1].polygons)
        self._check(neutral, "the neutral")
        self._neutral = np.asarray(neutral, dtype=np.float64)
        self.neutral = self._encode(refine(head.neutral, self.steps), self._neutral).astype(np.float32)
        self._kept: dict[DetailKey, NDArray[np.float32] | None] = {}

    @property
    def n_vertices(self) -> int:
        """Vertices n_k at the level."""
        return self.steps[-1].n_vertices

    def of(self, name: str, mirror: MirrorMap | None = None) -> NDArray[np.float32] | None:
        """(n_k, 3) a shape's detail minus the neutral's, in local frames in mm; None where it has no target here.

        With a `mirror` map of the cage, the detail of the shape's mirror image. Raises MoueError for an
        unknown shape, a target of another length, or a mirror map that does not keep the polygons.
        """
        key = (name, mirror is not None)
        if key not in self._kept:
            self._kept[key] = self._make(name, mirror)
        return self._kept[key]

    def add(self, cage: NDArray, local: NDArray) -> NDArray[np.float64]:
        """(n_k, 3) mm, a pose of the cage (n_0, 3) subdivided, with detail (n_k, 3) in its own frames."""
        base = refine(np.asarray(cage, dtype=np.float64), self.steps)
        base += self.frames.out_of(base, local)
        return base

    def _make(self, name: str, mirror: MirrorMap | None) -> NDArray[np.float32] | None:
        delta = self.head.shape(name).delta.astype(np.float64)
        target = self._target_at(name)
        if target is None:
            return None
        self._check(target, f"the target of {name!r}")
        if mirror is None:
            cage = refine(self.head.neutral + delta, self.steps)
        else:
            fine = mirror_at_level(mirror, self.steps, self.head.neutral)
            target = self._neutral + fine.vectors(target - self._neutral)
            cage = refine(self.head.neutral + mirror.vectors(delta), self.steps)
        local = (self._encode(cage, np.asarray(target, dtype=np.float64)) - self.neutral).astype(np.float32)
        if self._folder is None:
            return local
        number = self.head.shape_index[name]
        path = self._folder / f"detail_{number}{'_mirrored' if mirror is not None else ''}.npy"
        np.save(path, local)
        return np.load(path, mmap_mode="r")

    def _encode(self, cage: NDArray, target: NDArray) -> NDArray[np.float64]:
        return self.frames.into(cage, target - cage)

    def _check(self, positions: NDArray, what: str) -> None:
        if np.shape(positions) != (self.n_vertices, 3):
            raise MoueError(f"{what} has {len(positions)} vertices, level {self.k} has {self.n_vertices}")
