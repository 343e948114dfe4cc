"""What a document holds before any recipe: its head, its shapes and its masks; looked at once for all recipes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from composer.checks.finding import Finding
from composer.checks.subject import HeadFacts
from composer.geometry.vectors import cross, lengths
from composer.head.head import Head
from masks.partition import FACE

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DocumentSubject:
    """A head with the raw masks (n,) of its regions; `sets` gives the set of each region, `face` unless said, and
    `locked` names those that keep their raw masks."""

    facts: HeadFacts
    raw: Mapping[str, NDArray] = field(default_factory=dict)
    sets: Mapping[str, str] = field(default_factory=dict)
    locked: frozenset[str] = frozenset()

    @property
    def head(self) -> Head:
        """The head."""
        return self.facts.head

    @property
    def face(self) -> list[str]:
        """The regions that share the face."""
        return [name for name in self.raw if self.sets.get(name, FACE) == FACE]

    @cached_property
    def areas(self) -> Floats:
        """(n,) mm^2, a third of the area of the skin's triangles around each vertex at rest."""
        neutral, triangles = self.head.neutral, self.facts.triangles
        a, b, c = (neutral[triangles[:, i]] for i in range(3))
        third = lengths(cross(b - a, c - a)) / 6.0
        around = np.bincount(triangles.ravel(), weights=np.repeat(third, 3), minlength=self.head.n_vertices)
        return np.asarray(around, dtype=np.float64)

    @cached_property
    def reach(self) -> Floats:
        """(n,) mm, how far the shape that moves a vertex most moves it; a shape that is broken is left out."""
        furthest = np.zeros(self.head.n_vertices)
        for shape in self.head.expressions:
            moved = np.einsum("ij,ij->i", shape.delta, shape.delta, dtype=np.float64)
            if np.isfinite(moved).all():
                np.maximum(furthest, moved, out=furthest)
        return np.sqrt(furthest)

    def pieces(self, on: NDArray[np.bool_]) -> list[NDArray[np.int32]]:
        """The connected pieces of the vertices where `on` (n,), the largest in area first."""
        from scipy.sparse.csgraph import connected_components

        inside = np.flatnonzero(on)
        if not len(inside):
            return []
        count, label = connected_components(self.head.polygons.adjacency[inside][:, inside], directed=False)
        area = np.bincount(label, weights=self.areas[inside], minlength=count)
        return [inside[label == i].astype(np.int32) for i in np.argsort(-area, kind="stable")]


@dataclass(frozen=True)
class DocumentCheck:
    """One check of a document: `name` (its findings' codes begin with it), `title` and `why` in words, and `run`."""

    name: str
    title: str
    why: str
    run: Callable[[DocumentSubject], Iterator[Finding]]
