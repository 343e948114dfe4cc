"""Seeds for the walk of two meshes: corners of both with the same surroundings, the rarest first.

The class of a vertex is its valence, its polygons and their sizes. From corners at vertices of rare classes, paths
follow fixed rules (straight ahead across edges, along a strip, in a staircase). The classes along a path are hashed to
a signature. The rules do not use the numbering, so the same place has the same signature in both meshes. This is
colour refinement (Weisfeiler and Lehman 1968) along paths, which reaches far at the cost of a few corners.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from composer.geometry.half_edges import HalfEdges

Ints = NDArray[np.int32]
Seed = tuple[int, Ints]
"""A corner of the reference, and the corners of the other mesh that may match it."""
FEW = 4096
"""About how many corners are followed, the rarest classes first; it limits time. Our choice."""
STAGES = (8, 32, 128, 512)
"""Steps after which signatures are compared: short paths first, because a fault affects them least. Our choice."""


def vertex_classes(a: HalfEdges, b: HalfEdges) -> tuple[Ints, Ints]:
    """(n,) the class of each vertex of each mesh; equal numbers mean the same class in both."""
    keys = np.concatenate([_keys(a), _keys(b)])
    number = np.unique(keys, return_inverse=True)[1].reshape(-1).astype(np.int32)
    return number[: a.polygons.n_vertices], number[a.polygons.n_vertices :]


def _keys(mesh: HalfEdges) -> NDArray[np.int64]:
    n = mesh.polygons.n_vertices
    around = np.bincount(mesh.vertex, minlength=n)
    sizes = np.bincount(mesh.vertex, weights=mesh.polygons.counts[mesh.face].astype(np.float64) ** 2, minlength=n)
    return (sizes.astype(np.int64) << 32) + (mesh.valence << 16) + around


def seeds(mine_of: Signatures, theirs_of: Signatures, corners: Ints, others: Ints) -> Iterator[Seed]:
    """Seeds among the reference's `corners` and the other's, best first; the next is for a seed that proves wrong.

    Empty where no class of corner occurs in both.
    """
    mine, theirs = mine_of.classes_at(corners), theirs_of.classes_at(others)
    n_classes = int(max(mine.max(initial=0), theirs.max(initial=0))) + 1
    count, other_count = np.bincount(mine, minlength=n_classes), np.bincount(theirs, minlength=n_classes)
    shared = np.flatnonzero((count > 0) & (other_count > 0))
    if not len(shared):
        return
    shared = shared[np.argsort(np.maximum(count, other_count)[shared], kind="stable")]
    taken = max(1, int(np.searchsorted(np.cumsum(count[shared]), FEW, side="right")))
    chosen = np.zeros(n_classes, dtype=bool)
    chosen[shared[:taken]] = True
    ours, other_ones = corners[chosen[mine]], others[chosen[theirs]]
    if len(ours) > FEW:  # only one class, as in a torus: one corner is as good as any
        yield int(ours[0]), other_ones
        return
    found = [_rarest(mine_of.classes_at(ours), theirs_of.classes_at(other_ones), ours, other_ones)]
    for stage in range(len(STAGES)):
        found.append(_rarest(mine_of.after(ours, stage), theirs_of.after(other_ones, stage), ours, other_ones))
        before, now = found[-2], found[-1]
        if now is None or len(now[1]) == 1:
            break
        if len(corners) < FEW and before is not None and len(before[1]) == len(now[1]):
            break  # the paths have covered a small piece
    told: set[int] = set()
    for seed in reversed([each for each in found if each is not None]):
        if seed[0] not in told:
            told.add(seed[0])
            yield seed


def _rarest(mine: NDArray, theirs: NDArray, corners: Ints, others: Ints) -> Seed | None:
    """The first corner with the signature that is rarest in the other mesh; equal counts in both come first."""
    values, number = np.unique(np.concatenate([mine, theirs]), return_inverse=True)
    number = number.reshape(-1)
    count = np.bincount(number[: len(mine)], minlength=len(values))
    other_count = np.bincount(number[len(mine) :], minlength=len(values))
    shared = np.flatnonzero((count > 0) & (other_count > 0))
    if not len(shared):
        return None
    best = shared[np.lexsort((other_count[shared], count[shared] != other_count[shared]))[0]]
    own = corners[number[: len(mine)] == best]
    return int(own[0]), others[number[len(mine) :] == best]


class Signatures:
    """The signatures of one mesh's corners after each of STAGES: each is followed once, however often it is asked for,
    because pieces that are alike are looked at together, once for each of them."""

    def __init__(self, mesh: HalfEdges, classes: Ints) -> None:
        """For a mesh whose vertices have `classes` (n,)."""
        self.mesh, self.classes = mesh, classes
        self._slot = np.full(len(mesh.vertex), -1, dtype=np.int32)
        self._count = 0  # of the slots in use
        self._stages = np.zeros(0, dtype=np.int8)  # how many are known of the corner in each slot
        self._at = np.zeros((3, 0), dtype=np.int32)
        self._passed = np.zeros((3, 0), dtype=np.uint64)
        self._told = np.zeros((len(STAGES), 0), dtype=np.uint64)

    def classes_at(self, corners: Ints) -> Ints:
        """(m,) the classes of the vertices of corners (m,)."""
        return self.classes[self.mesh.vertex[corners]]

    def after(self, corners: Ints, stage: int) -> NDArray[np.uint64]:
        """(m,) the signatures of corners (m,), each given once, after `STAGES[stage]` steps."""
        slots = self._slots_of(corners)
        for each in range(stage + 1):
            late = slots[self._stages[slots] == each]
            if len(late):
                self._follow(late, each)
        return self._told[stage][slots]

    def _slots_of(self, corners: Ints) -> Ints:
        new = corners[self._slot[corners] < 0]
        if len(new):
            if self._count + len(new) > len(self._stages):
                more = max(len(new), len(self._stages))
                self._stages, self._at, self._passed, self._told = (
                    np.concatenate([held, np.zeros((*held.shape[:-1], more), dtype=held.dtype)], axis=-1)
                    for held in (self._stages, self._at, self._passed, self._told)
                )
            slots = np.arange(self._count, self._count + len(new), dtype=np.int32)
            paths = Paths(self.mesh, new, self.classes)
            self._slot[new], self._at[:, slots], self._passed[:, slots] = slots, paths.at, paths.passed
            self._count += len(new)
        return self._slot[corners]

    def _follow(self, slots: Ints, stage: int) -> None:
        """Follow the paths of the corners in some slots from the stage before to this one."""
        paths = Paths(self.mesh, np.zeros(0, dtype=np.int32), self.classes)
        paths.at, paths.passed = list(self._at[:, slots]), list(self._passed[:, slots])
        paths.steps = STAGES[stage - 1] if stage else 0
        self._told[stage, slots] = paths.after(STAGES[stage])
        self._at[:, slots], self._passed[:, slots] = paths.at, paths.passed
        self._stages[slots] = stage + 1


class Paths:
    """Three paths from each of many corners, and the signatures along them."""

    def __init__(self, mesh: HalfEdges, corners: Ints, classes: Ints) -> None:
        """Start at `corners` (m,) of a mesh whose vertices have `classes` (n,)."""
        self.mesh, self.classes = mesh, classes
        self.at = [corners.copy() for _ in range(3)]
        self.passed = [_mixed(classes[mesh.vertex[corners]].astype(np.uint64)) for _ in range(3)]
        self.steps = 0

    def after(self, steps: int) -> NDArray[np.uint64]:
        """The signatures of the corners after `steps` steps of every path."""
        while self.steps < steps:
            self._step()
        return _mixed(_mixed(_mixed(self.passed[0]) + self.passed[1]) + self.passed[2])

    def vertices(self, steps: int) -> Ints:
        """(m, 3 steps + 1) the vertices at the start of the paths, and after each of `steps` more steps."""
        passed = [self.mesh.vertex[self.at[0]]]
        for _ in range(steps):
            self._step()
            passed += [self.mesh.vertex[at] for at in self.at]
        return np.stack(passed, axis=1)

    def _step(self) -> None:
        self._go(0, ahead=True)
        self._go(1, ahead=False)
        self._go(2, ahead=self.steps % 2 == 0)
        self.steps += 1

    def _go(self, path: int, ahead: bool) -> None:
        """Ahead: past the end of the edge and on along the edge after next. Else: across to the edge opposite."""
        mesh, at = self.mesh, self.at[path]
        beside = mesh.following[at] if ahead else mesh.following[mesh.following[at]]
        across = mesh.twin[beside]
        open_ = across < 0
        reached = mesh.following[across] if ahead else across
        self.at[path] = np.where(open_, at, reached)
        told = self.classes[mesh.vertex[self.at[path]]].astype(np.uint64)
        told[open_] = np.uint64(2**40) - across[open_].astype(np.int64).astype(np.uint64)
        self.passed[path] = _mixed(self.passed[path] + told)


def _mixed(value: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A hash of 64-bit numbers (splitmix64; Steele, Lea and Flood 2014)."""
    z = value + np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))
