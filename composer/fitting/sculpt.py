"""A sculpt cleaned for a fit: unusable triangles are dropped and counted, and its shells are sorted.

Dropped are triangles with a vertex that is not a number, without area or duplicate, and shells much smaller than the
head; of these, balls are kept apart as eyeballs. Border vertices at exactly the same position are joined, as in files
that split vertices at UV seams. Lips that touch are not borders and stay apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike, NDArray
from scipy.sparse.csgraph import connected_components

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.formats.weld import first_of_each
from composer.geometry.polygons import Polygons
from composer.geometry.vectors import cross

Rows = NDArray[np.float64]
Ints = NDArray[np.int64]
SMALL_SHELL = 0.3
"""Shells below this share of the largest shell's diagonal are not skin (our choice)."""
BALL_SIZE = (0.01, 0.12)
"""Least and largest radius of an eyeball, as shares of the largest shell's diagonal (our choice: an eyeball's radius is
12 mm, a head's diagonal some 400 mm)."""
BALL_ERROR = 0.06
"""Largest standard deviation of a ball's points from the ball, in radii (our choice: a cornea stands out by less)."""
BALL_TRIANGLES, MOST_BALLS = 40, 64
"""Fewest triangles of a shell that is tried as a ball, and most shells that are tried (our choice)."""
FLAT = 1e-14
"""Triangles of a doubled area below this share of the squared diagonal have no area: the rounding of float64."""


@dataclass(frozen=True, eq=False)
class Ball:
    """A shell that is a ball: its `centre` (3,) and `radius`, its number of `triangles`, and its `error`: the standard
    deviation of its points from the ball, in radii."""

    centre: Rows
    radius: float
    triangles: int
    error: float


@dataclass(frozen=True, eq=False)
class CleanSculpt:
    """The `surface` for the fit, over m vertices of the file, renumbered; `vertex` (m,) their numbers in the file; the
    `balls`; the counts of what was `dropped`, by kind; and `notes`, the same in sentences.
    """

    surface: ClosestSurface
    vertex: Ints
    balls: tuple[Ball, ...]
    dropped: dict[str, int]
    notes: tuple[str, ...]

    def turned_over(self) -> CleanSculpt:
        """The same sculpt with every triangle looking the other way."""
        over = ClosestSurface(self.surface.positions, self.surface.triangles[:, ::-1])
        return CleanSculpt(over, self.vertex, self.balls, self.dropped, (*self.notes, "Its faces were turned over."))


def clean_sculpt(positions: ArrayLike, polygons: Polygons, where: Path | str | None = None) -> CleanSculpt:
    """A sculpt's polygons over `positions` (n, 3) mm, cleaned as this module says.

    Raises MoueError where no triangle remains, or balls alone.
    """
    points = np.asarray(positions, dtype=np.float64)
    triangles = polygons.triangles.astype(np.int64)
    if not len(triangles):
        raise MoueError("the sculpt has no faces", where, hint="a mesh is needed, not points")
    dropped: dict[str, int] = {}
    notes: list[str] = []

    def keep(flags: NDArray, words: str) -> None:
        nonlocal triangles
        count = int((~flags).sum())
        if count:
            dropped[words] = count
            notes.append(f"{count:,} triangle{'s' if count > 1 else ''} {words} dropped.")
            triangles = triangles[flags]

    keep(np.all(np.isfinite(points[triangles]), axis=(1, 2)), "with a vertex that is not a number")
    triangles = _joined(points, triangles, dropped, notes)
    a, b, c = triangles.T
    size = _diagonal(points, triangles)
    area = np.linalg.norm(cross(points[b] - points[a], points[c] - points[a]), axis=1)
    keep((a != b) & (b != c) & (c != a) & (area > FLAT * size**2), "without area")
    if len(triangles):
        order = np.sort(triangles, axis=1)
        first, _ = first_of_each(order)
        unique = np.zeros(len(triangles), dtype=bool)
        unique[first] = True
        keep(unique, "that were there twice")
    if not len(triangles):
        raise MoueError("the sculpt has no usable face", where, hint="all are empty, duplicate or not numbers")
    kept, balls = _shells(points, triangles, where)
    small = len(triangles) - int(kept.sum()) - sum(ball.triangles for ball in balls)
    if small:
        dropped["in small shells"] = small
        notes.append(f"{small:,} triangles in shells much smaller than the head dropped.")
    if balls:
        notes.append(f"{len(balls)} shell{'s are balls' if len(balls) > 1 else ' is a ball'}, taken for eyeballs.")
    vertex, compact = np.unique(triangles[kept], return_inverse=True)
    surface = ClosestSurface(points[vertex], compact.reshape(-1, 3))
    mixed = _looks_both_ways(surface.triangles, len(vertex))
    if mixed:
        notes.append(f"At {mixed:,} edges of the sculpt one face looks in and the other out.")
    return CleanSculpt(surface, vertex, balls, dropped, tuple(notes))


def _joined(points: Rows, triangles: Ints, dropped: dict[str, int], notes: list[str]) -> Ints:
    """(t, 3) the triangles with border vertices at the same position joined."""
    if not len(triangles):
        return triangles
    border = np.flatnonzero(ClosestSurface(points, triangles).border_vertex)
    if not len(border):
        return triangles
    first, which = first_of_each(points[border])
    rank = np.arange(len(points))
    rank[border] = border[first[which]]
    joined = len(border) - len(first)
    if joined:
        dropped["border vertices joined"] = joined
        notes.append(f"{joined:,} border vertices at the position of another were joined.")
    return rank[triangles]


def _diagonal(points: Rows, triangles: Ints) -> float:
    used = points[triangles.ravel()]
    return float(np.linalg.norm(np.ptp(used, axis=0))) if len(used) else 0.0


def _shells(points: Rows, triangles: Ints, where: Path | str | None) -> tuple[NDArray[np.bool_], tuple[Ball, ...]]:
    """(t,) whether a triangle belongs to the skin, and the balls."""
    used, compact = np.unique(triangles, return_inverse=True)
    compact = compact.reshape(-1, 3)
    ends = np.concatenate([compact[:, :2], compact[:, 1:]])
    links = sp.csr_matrix((np.ones(len(ends), np.int8), (ends[:, 0], ends[:, 1])), shape=(len(used),) * 2)
    count, label = connected_components(links, directed=False)
    at = points[used]
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, label, at)
    np.maximum.at(high, label, at)
    size = np.linalg.norm(high - low, axis=1)
    shell = label[compact[:, 0]]
    size_in_triangles = np.bincount(shell, minlength=count)
    largest = int(np.argmax(size))
    balls: dict[int, Ball] = {}
    likely = (size > 2 * BALL_SIZE[0] * size[largest]) & (size < 4 * BALL_SIZE[1] * size[largest])
    likely &= size_in_triangles >= BALL_TRIANGLES
    likely[largest] = True
    for s in np.flatnonzero(likely)[:MOST_BALLS]:
        ball = ball_through(at[label == s], int(size_in_triangles[s]))
        if ball is not None:
            balls[int(s)] = ball
    if largest in balls:
        raise MoueError("the sculpt has only balls, such as eyes", where, hint="the shell of the head is missing")
    skin = size >= SMALL_SHELL * size[largest]
    skin[[s for s in balls]] = False
    lowest, highest = (f * size[largest] for f in BALL_SIZE)
    return skin[shell], tuple(b for s, b in balls.items() if not skin[s] and lowest <= b.radius <= highest)


def ball_through(points: Rows, triangles: int) -> Ball | None:
    """The ball through `points` (k, 3) by linear least squares; None where they do not lie on one."""
    middle = points.mean(axis=0)
    off = points - middle
    system = np.concatenate([2.0 * off, np.ones((len(off), 1))], axis=1)
    solution = np.linalg.lstsq(system, (off**2).sum(1), rcond=None)[0]
    centre = middle + solution[:3]
    away = np.linalg.norm(points - centre, axis=1)
    radius = float(np.median(away))
    error = float(np.std(away) / radius) if radius > 0 else np.inf
    spread = np.ptp(points, axis=0).min() / (2 * radius) if radius > 0 else 0.0
    return Ball(centre, radius, triangles, error) if error < BALL_ERROR and spread > 0.5 else None


def ball_centre(points: Rows) -> Rows:
    """(3,) the centre of the ball through the vertices of an eyeball (k, 3); their mean where they do not lie on one.
    """
    ball = ball_through(points, 0)
    return points.mean(axis=0) if ball is None else ball.centre


def _looks_both_ways(triangles: Ints, n: int) -> int:
    """The number of edges along which two triangles run in the same direction."""
    start, end = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    key = np.sort(start * n + end)
    return int((key[1:] == key[:-1]).sum())


def coarser(positions: Rows, triangles: Ints, cell: float) -> tuple[Rows, Ints]:
    """A mesh of fewer triangles: the vertices in each cell of a grid of width `cell` become their mean (Rossignac and
    Borrel 1993, "Multi-resolution 3D approximations for rendering complex scenes")."""
    grid = np.floor((positions - positions.min(axis=0)) / cell).astype(np.int64)
    width = grid.max(axis=0) + 1
    key = (grid[:, 0] * width[1] + grid[:, 1]) * width[2] + grid[:, 2]
    _, which, count = np.unique(key, return_inverse=True, return_counts=True)
    which = which.reshape(-1)
    mean = np.stack([np.bincount(which, positions[:, i]) / count for i in range(3)], axis=1)
    small = which[triangles]
    small = small[(small[:, 0] != small[:, 1]) & (small[:, 1] != small[:, 2]) & (small[:, 2] != small[:, 0])]
    first, _ = first_of_each(np.sort(small, axis=1))
    small = small[first]
    used, compact = np.unique(small, return_inverse=True)
    return mean[used], compact.reshape(-1, 3)
