"""Bad faces repaired place by place: only the rings about them are looked at and moved.

`composer.fitting.open_folds` looks at its whole mesh after every attempt. A head has a few dozen bad places, each a few
rings wide. Every place is cut out with rings about it, its outermost vertices stay, and what is repaired there is put
back. A place that cannot be repaired so is cut out again with more rings, and at last a mesh that is not large is
repaired as a whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.fitting.loops import Loops
from composer.fitting.open_folds import heal, open_folds
from composer.geometry.part import part_of
from composer.geometry.polygons import Polygons

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]

WHOLE = 60_000
"""A mesh of at most this many vertices is repaired as a whole where its places cannot be: a design choice."""
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


def healed(
    polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, fixed: Flags, wrong: Flags | None = None
) -> Rows:  # fmt: skip
    """(n, 3) as `composer.fitting.open_folds.heal`, place by place; `wrong` (f,) are the bad polygons, if known."""

    def repair(place: Place, points: Rows, local: Loops) -> Rows:
        stays = fixed[place.vertices] | ~place.inside
        return heal(place.polygons, points, local, reference[place.vertices], stays)

    return _repaired(polygons, positions, loops, reference, repair, wrong)[0]


def unfolded(
    polygons: Polygons, positions: Rows, loops: Loops, reference: Rows, *, width_mm: float, fixed: Flags,
    reluctant: Flags, wrong: Flags | None = None,
) -> tuple[Rows, Flags]:  # fmt: skip
    """(n, 3) and (n,) as `composer.fitting.open_folds.open_folds`, place by place; `wrong` (f,) are the bad polygons,
    if known."""

    def repair(place: Place, points: Rows, local: Loops) -> Rows:
        at = place.vertices
        return open_folds(
            place.polygons, points, local, reference[at], width_mm=width_mm, fixed=fixed[at] | ~place.inside,
            reluctant=reluctant[at],
        )[0]  # fmt: skip

    points, left = _repaired(polygons, positions, loops, reference, repair, wrong)
    if left.any() and polygons.n_vertices <= WHOLE:
        points, _ = open_folds(
            polygons, points, loops, reference, width_mm=width_mm, fixed=fixed, reluctant=reluctant
        )  # fmt: skip
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
    repair: Callable[[Place, Rows, Loops], Rows], wrong: Flags | None = None,
) -> tuple[Rows, Flags]:  # fmt: skip
    """The positions after `repair` (the positions of a place, and its loops) of every place with bad faces, and what is
    still bad (f,); `wrong` (f,) is what is bad before, if known."""
    points = positions
    wrong = loops.bad(points) if wrong is None else wrong
    for rings in RINGS:
        if not wrong.any():
            break
        points, moved = np.array(points), np.zeros(len(points), dtype=bool)
        for place in places(polygons, loops.grown(loops.vertices_of(wrong), rings)):
            local = Loops(place.polygons, reference[place.vertices])
            now = repair(place, points[place.vertices], local)
            moved[place.vertices[(now != points[place.vertices]).any(axis=1)]] = True
            points[place.vertices] = now
        wrong = loops.bad_again(points, moved, wrong)
    return points, wrong
