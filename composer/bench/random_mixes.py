"""Random recipes as a test of regions: faces that turn over and edges that stretch, beyond what the shapes do alone.

A recipe gives six random regions a random shape each. This is the hardest case for regions, because neighbours have
unrelated shapes. Where two shapes move the skin differently across a border, the polygon between turns over once the
ramp is too narrow for the difference (their mismatch): a mask that falls from 1 to 0 over a ramp of width r has a slope
of at most 1.5 / r, and a fold needs a slope times mismatch of 1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.geometry.surface import Floats, Surface
from composer.geometry.vectors import cross

TAME = 0.6
"""Largest mismatch that must not turn a polygon, as a share of the border's ramp: 1.5 times it is 0.9, below 1."""
BESIDE = 0.02
"""A border lies where both masks are above this (our choice)."""


@dataclass(frozen=True, eq=False)
class RandomMixes:
    """For each of m recipes: `turned` (m,), the number of polygons that turn over and that none of its shapes alone
    turns; `tame_turned` (m,), those of them that are on no border with a mismatch above 0.6 of its ramp; `strain` (m,),
    the 99th percentile over edges of the strain beyond the largest of its shapes alone.
    """

    turned: NDArray[np.int64]
    tame_turned: NDArray[np.int64]
    strain: Floats

    @property
    def words(self) -> str:
        """One line."""
        tame = f", {int(self.tame_turned.sum())} where ramps were wide enough" if self.tame_turned.any() else ""
        strain = 100 * float(np.median(self.strain))
        count = int((self.turned > 0).sum())
        return f"{int(self.turned.sum())} faces in {count} of {len(self.turned)} recipes{tame}, strain {strain:.0f} %"


def random_mixes(
    surface: Surface,
    skin: NDArray[np.bool_],
    deltas: Sequence[NDArray] | NDArray,
    masks: Mapping[str, Floats],
    ramps_mm: Mapping[tuple[str, str], float] | None = None,
    recipes: int = 100,
    cells: int = 6,
    seed: int = 0,
) -> RandomMixes:
    """Mix `recipes` of `cells` regions, linearly, and count. `deltas` s x (n, 3) mm; `masks` {name: (n,)}; `ramps_mm`
    the width of the border between two of them, where it is known.
    """
    trial = _Trial(surface, skin, deltas, masks, ramps_mm or {})
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(recipes):
        regions = rng.permutation(len(trial.masks))[:cells]
        rows.append(trial.mixed(regions, rng.integers(0, len(deltas), len(regions))))
    turned, tame, strain = (np.array(column) for column in zip(*rows, strict=True))
    return RandomMixes(turned, tame, strain)


class _Trial:
    """The data of one head that every recipe needs: its skin's triangles and edges at rest, and the borders."""

    def __init__(
        self, surface: Surface, skin: NDArray[np.bool_], deltas: Sequence[NDArray] | NDArray,
        masks: Mapping[str, Floats], ramps_mm: Mapping[tuple[str, str], float],
    ) -> None:  # fmt: skip
        self.positions, self.deltas = surface.positions, deltas
        self.masks = np.stack(list(masks.values()))
        polygons = surface.polygons
        on_skin = np.logical_and.reduceat(skin[polygons.indices], polygons.starts[:-1])
        of_skin = on_skin[polygons.triangle_face]
        self.triangles = surface.triangles[of_skin]
        self.face = np.unique(polygons.triangle_face[of_skin], return_inverse=True)[1].reshape(-1)
        edges = surface.polygons.edges
        self.edges = edges[skin[edges].all(axis=1) & (surface.edge_lengths > 1e-6)]
        self.rest_normals = self._normals(self.positions)
        self.rest_lengths = self._lengths(self.positions)
        number = {name: i for i, name in enumerate(masks)}
        self.borders = [(number[a], number[b], width) for (a, b), width in ramps_mm.items()]
        self.alone: dict[int, tuple[NDArray[np.bool_], Floats]] = {}

    def mixed(self, regions: NDArray[np.int64], shapes: NDArray[np.int64]) -> tuple[int, int, float]:
        """The polygons turned by one recipe, those of them off the excused borders, and the strain."""
        pose = self.positions.copy()
        for region, shape in zip(regions, shapes, strict=True):
            pose += self.masks[region][:, None] * self.deltas[shape]
        over, strain = self._pose(pose)
        alone = [self._alone(int(shape)) for shape in shapes]
        new = over & ~np.any([turned for turned, _ in alone], axis=0)
        beyond = strain - np.max([shape_strain for _, shape_strain in alone], axis=0)
        excused = self._excused(dict(zip(regions.tolist(), shapes.tolist(), strict=True))) if new.any() else None
        tame = int((new & ~excused).sum()) if excused is not None else 0
        return int(new.sum()), tame if self.borders else 0, float(np.quantile(beyond, 0.99))

    def _excused(self, shape_of: dict[int, int]) -> NDArray[np.bool_]:
        """(f,) polygons on a border whose mismatch is too large for its ramp."""
        wild = np.zeros(len(self.positions), dtype=bool)
        for a, b, width in self.borders:
            beside = (self.masks[a] > BESIDE) & (self.masks[b] > BESIDE)
            at = np.flatnonzero(beside)
            if not len(at) or (a not in shape_of and b not in shape_of):
                continue
            one, other = (self.deltas[shape_of[r]][at] if r in shape_of else 0.0 for r in (a, b))
            apart = np.linalg.norm(np.asarray(one - other), axis=-1)
            if float(apart.max()) >= TAME * width:
                wild |= beside
        return np.bincount(self.face, wild[self.triangles].any(axis=1)) > 0

    def _alone(self, shape: int) -> tuple[NDArray[np.bool_], Floats]:
        if shape not in self.alone:
            self.alone[shape] = self._pose(self.positions + self.deltas[shape])
        return self.alone[shape]

    def _pose(self, pose: Floats) -> tuple[NDArray[np.bool_], Floats]:
        """(f,) whether each polygon is turned over, (e,) the strain of each edge."""
        over = np.einsum("ij,ij->i", self._normals(pose), self.rest_normals) < 0.0
        return over, np.abs(self._lengths(pose) / self.rest_lengths - 1.0)

    def _normals(self, at: Floats) -> Floats:
        """(f, 3) the vector area of each polygon of the skin."""
        a, b, c = (at[self.triangles[:, k]] for k in range(3))
        return np.stack([np.bincount(self.face, along) for along in cross(b - a, c - a).T], axis=1)

    def _lengths(self, at: Floats) -> Floats:
        return np.asarray(np.linalg.norm(at[self.edges[:, 0]] - at[self.edges[:, 1]], axis=1))
