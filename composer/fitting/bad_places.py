"""Bad faces of a large mesh repaired place by place: only the rings about them are looked at and moved.

`composer.fitting.open_folds` looks at its whole mesh after every attempt. At level 3 a head has a million vertices and
a few dozen bad places, each a few rings wide. Every place is cut out with rings about it, its outermost vertices stay,
and what is repaired there is put back. A place that cannot be repaired so is cut out again with more rings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.loops import Loops
from composer.fitting.open_folds import heal, open_folds
from composer.geometry.polygons import Polygons

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

WHOLE = 60_000
"""A mesh of at most this many vertices is repaired as a whole. It saves time and changes little else: a design choice.
"""
RINGS = (12, 48)
"""Rings about the bad faces that are cut out, attempt after attempt: a patch of `open_folds` grows by 12 rings in nine
attempts. A design choice, no source."""


@dataclass(frozen=True, eq=False)
class Place:
    """A part of a mesh: the numbers of its `vertices` (m,), its polygons over them, and which of them (m,) are
    `inside`: all their polygons of the mesh are in the part."""

    vertices: NDArray[np.int64]
    polygons: Polygons
    inside: Flags


def healed(polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, fixed: Flags) -> Rows:
    """(n, 3) as `composer.fitting.open_folds.heal`, place by place where the mesh is large."""
    if polygons.n_vertices <= WHOLE:
        return heal(polygons, positions, loops, reference, fixed)

    def repair(place: Place, points: Rows, local: Loops) -> Rows:
        stays = fixed[place.vertices] | ~place.inside
        return heal(place.polygons, points, local, reference[place.vertices], stays)

    return _repaired(polygons, positions, loops, reference, repair)


def unfolded(
    polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, *, width_mm: float, fixed: Flags,
    reluctant: Flags,
) -> tuple[Rows, Flags]:  # fmt: skip
    """(n, 3) and (n,) as `composer.fitting.open_folds.open_folds`, place by place where the mesh is large."""
    if polygons.n_vertices <= WHOLE:
        return open_folds(
            polygons, positions, loops, reference, width_mm=width_mm, fixed=fixed, reluctant=reluctant
        )

    def repair(place: Place, points: Rows, local: Loops) -> Rows:
        at = place.vertices
        return open_folds(
            place.polygons, points, local, reference[at], width_mm=width_mm, fixed=fixed[at] | ~place.inside,
            reluctant=reluctant[at],
        )[0]  # fmt: skip

    points = _repaired(polygons, positions, loops, reference, repair)
    return points, (points != positions).any(axis=1)


def places(polygons: Polygons, flags: Flags) -> Iterator[Place]:
    """The connected parts of the mesh that the flagged vertices (n,) span, each with the polygons that lie in it."""
    around = np.flatnonzero(flags)
    spanned = part_of(polygons, around)
    corners = np.bincount(polygons.indices, minlength=polygons.n_vertices)
    complete = np.bincount(spanned.indices, minlength=len(around)) == corners[around]
    order = np.argsort(spanned.components, kind="stable")
    ends = np.flatnonzero(np.diff(spanned.components[order])) + 1
    for members in np.split(order, ends):
        yield Place(around[members], part_of(spanned, members), complete[members])


def _repaired(
    polygons: Polygons, positions: Rows, loops: Loops, reference: Rows,
    repair: Callable[[Place, Rows, Loops], Rows],
) -> Rows:  # fmt: skip
    """The positions after `repair` (the positions of a place, and its loops) of every place with bad faces."""
    points = positions
    for rings in RINGS:
        wrong = loops.bad(points)
        if not wrong.any():
            return points
        points = np.array(points)
        for place in places(polygons, loops.grown(loops.vertices_of(wrong), rings)):
            local = Loops(place.polygons, reference[place.vertices])
            points[place.vertices] = repair(place, points[place.vertices], local)
    return points


def part_of(polygons: Polygons, vertices: NDArray) -> Polygons:
    """The polygons whose vertices are all among `vertices` (m,), numbered by their places there."""
    rank = np.full(polygons.n_vertices, -1, dtype=np.int64)
    rank[vertices] = np.arange(len(vertices))
    new = rank[polygons.indices]
    within = np.logical_and.reduceat(new >= 0, polygons.starts[:-1]) if polygons.n_faces else np.zeros(0, dtype=bool)
    return Polygons(polygons.counts[within], new[within[polygons.corner_face]].astype(np.int32), len(vertices))
