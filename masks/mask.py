"""A mask: a weight in [0, 1] at every vertex of one topology, which it names so that it is never used on another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from composer.errors import MoueError
from composer.geometry.polygons import read_only
from composer.geometry.surface import Floats

ROUNDING = 1e-9
"""Values outside [0, 1] by no more than this are taken for rounding and clipped."""


def checked_values(values: ArrayLike, n_vertices: int | None = None, word: str = "mask") -> Floats:
    """Mask values (n,) as float64 in [0, 1], a copy.

    Raises MoueError where there is not one number a vertex (`n_vertices`, where given), one is not a number, or
    one lies outside [0, 1] by more than rounding.
    """
    weights = np.array(values, dtype=np.float64)
    if weights.ndim != 1:
        raise MoueError(f"the {word} has {weights.ndim} dimensions; it must be one number a vertex")
    if n_vertices is not None and len(weights) != n_vertices:
        raise MoueError(f"the {word} has {len(weights)} values, the mesh {n_vertices} vertices")
    if not np.isfinite(weights).all():
        raise MoueError(f"the {word} is not a number at vertex {int(np.flatnonzero(~np.isfinite(weights))[0])}")
    outside = (weights < -ROUNDING) | (weights > 1 + ROUNDING)
    if outside.any():
        bad = int(np.flatnonzero(outside)[0])
        raise MoueError(f"the {word} is {weights[bad]:g} at vertex {bad}; it must lie between 0 and 1")
    return np.clip(weights, 0.0, 1.0, out=weights)


@dataclass(frozen=True, eq=False)
class Mask:
    """`values` (n,) float64 in [0, 1], read-only, for the topology with the fingerprint `topology`. An empty
    fingerprint is one that nobody wrote down: then only the length can be checked, and `on` says so.
    """

    values: Floats
    topology: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", read_only(checked_values(self.values)))

    def __len__(self) -> int:
        return len(self.values)

    def on(self, topology: str, n_vertices: int) -> tuple[Floats, bool]:
        """The values (n,) for a mesh with this fingerprint and number of vertices, and whether they were taken on
        trust, because the mask carries no fingerprint.

        Raises MoueError on another topology or another number of vertices.
        """
        if len(self.values) != n_vertices:
            raise MoueError(f"the mask has {len(self.values)} values, the mesh {n_vertices} vertices")
        if self.topology and topology and self.topology != topology:
            raise MoueError(
                f"the mask was made on another topology ({self.topology[:8]}, this is {topology[:8]}); carry it over"
            )
        return self.values, not self.topology
