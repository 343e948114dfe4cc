"""The similarity that lays the head on the sculpt by landmark pairs, and checks of these pairs.

The similarity is Umeyama's (1991, "Least-squares estimation of transformation parameters between two point patterns").
It minimises the weighted sum of |s R x + t - y|^2 over proper rotations R, scales s > 0 and shifts t, in closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike

import numpy as np
from numpy.typing import ArrayLike, NDArray

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.geometry.rigid import Similarity
from composer.geometry.rigid import similarity as best_similarity
from composer.head.head import Head
from composer.head.landmarks import Landmarks
from composer.head.plain_names import named

Rows = NDArray[np.float64]
THIN = 1e-3
"""Points lie on one line where their second extent is below this share of the first (our choice)."""
FAR = 0.05
"""A landmark further than this share of the sculpt's diagonal from the sculpt is refused (common practice, no source).
"""
SWAPPED = 0.5
"""Left and right count as swapped where exchanging them brings the misfit below this share of itself (our choice)."""
GOOD_FIT = 0.02
"""Below this misfit, as a share of the landmarks' extent, no swap is looked for (our choice; demo heads have 0.015)."""
UNLIKE = 0.15
"""Largest misfit after the best similarity, as a share of the landmarks' extent: beyond it the two sets are not two
faces (our choice; demo heads have 0.015)."""
ODD, ODD_SIZE = 5.0, 0.08
"""A landmark is odd where its misfit exceeds this many times the median misfit, and this share of the landmarks' extent
(our choice)."""
INWARD = -0.3
"""The sculpt is inside out where the median cosine of its normals and the head's is below this (our choice)."""
SIDES = ("_left", "_right")
SIZES = (0.4, 2.5)
"""Ratios of size between which a sculpt is taken for a head in the same unit (our choice: people differ by a tenth,
stylised heads by more)."""
UNIT_STEPS = (10.0, 100.0, 1000.0)
"""Ratios of units that are mixed up in practice (mm, cm, dm, m)."""


@dataclass(frozen=True, eq=False)
class Pairs:
    """The landmarks that head and sculpt share. `names`, `head` (k, 3) and `sculpt` (k, 3) are the points, in mm on
    either side, and `vertices` (k,) their vertices on the head, -1 where a point is not at a vertex. `curves` gives by
    name the polyline on the head (a, 3), the one on the sculpt (b, 3), and the vertices (a,) of the first, -1 likewise.
    """

    names: tuple[str, ...]
    head: Rows
    sculpt: Rows
    vertices: NDArray[np.int64]
    curves: dict[str, tuple[Rows, Rows, NDArray[np.int64]]]

    def without(self, names: Sequence[str]) -> Pairs:
        """The pairs without the points and curves of these names, such as those held out to judge a fit."""
        kept = [i for i, name in enumerate(self.names) if name not in names]
        return Pairs(
            tuple(self.names[i] for i in kept), self.head[kept], self.sculpt[kept], self.vertices[kept],
            {name: curve for name, curve in self.curves.items() if name not in names},
        )  # fmt: skip

    def only(self, names: Sequence[str]) -> Pairs:
        """The pairs of these points and curves alone."""
        return self.without([name for name in (*self.names, *self.curves) if name not in names])

    def moved(self, move: Similarity) -> Pairs:
        """The same pairs with `move` applied to the sculpt's side."""
        curves = {name: (on_head, move(on_sculpt), ids) for name, (on_head, on_sculpt, ids) in self.curves.items()}
        return Pairs(self.names, self.head, move(self.sculpt), self.vertices, curves)


def no_pairs() -> Pairs:
    """The pairs of a fit without landmarks: none."""
    return Pairs((), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64), {})


def similarity(source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None) -> Similarity:
    """The similarity that brings `source` (k, 3) onto `target` (k, 3) best, with `weights` (k,) not negative.

    Raises MoueError for fewer than three pairs, or where either side lies on one line or in one point.
    """
    x, y = (np.asarray(v, dtype=np.float64).reshape(-1, 3) for v in (source, target))
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=np.float64)
    if len(x) < 3:
        raise MoueError(f"there are {len(x)} pairs of landmarks", hint="three that are not on one line are needed")
    share = w / w.sum()
    for points, words in ((x - share @ x, "head"), (y - share @ y, "sculpt")):
        extent = np.linalg.svd(points * np.sqrt(share)[:, None], compute_uv=False)
        if not extent[1] > THIN * extent[0]:
            raise MoueError(f"the landmarks on the {words} lie on one line", hint="add one that stands off it")
    return best_similarity(x, y, w)


def landmark_pairs(head: Head, marks: Landmarks, sculpt_marks: Landmarks, sculpt_positions: ArrayLike) -> Pairs:
    """The landmarks that `marks` (on the head's neutral) and `sculpt_marks` (on `sculpt_positions` (m, 3) mm) share.

    Raises MoueError where a landmark names a vertex that the head or the sculpt does not have.
    """
    places = np.asarray(sculpt_positions, dtype=np.float64)
    marks.check(head.n_vertices, "the head's landmarks")
    sculpt_marks.check(len(places), "the sculpt's landmarks")
    names = tuple(name for name in marks.points if name in sculpt_marks.points)
    head_points = np.array([marks.position(n, head.neutral) for n in names]).reshape(-1, 3)
    sculpt_points = np.array([sculpt_marks.position(n, places) for n in names]).reshape(-1, 3)
    vertices = np.array([v if isinstance(v := marks.points[n], int) else -1 for n in names], dtype=np.int64)
    curves = {}
    for name in marks.curves:
        if name in sculpt_marks.curves:
            line = marks.curves[name]
            ids = line.astype(np.int64) if isinstance(line, np.ndarray) else np.array(
                [p if isinstance(p, int) else -1 for p in line], dtype=np.int64
            )  # fmt: skip
            on_head, on_sculpt = marks.curve_positions(name, head.neutral), sculpt_marks.curve_positions(name, places)
            if len(on_head) > 1 and len(on_sculpt) > 1:
                curves[name] = (on_head, on_sculpt, ids)
    return Pairs(names, head_points, sculpt_points, vertices, curves)


def check_pairs(
    pairs: Pairs, head: Head, sculpt: ClosestSurface, any_size: bool = False, where: PathLike[str] | str | None = None
) -> tuple[Similarity, list[str]]:
    """The similarity of the pairs, and sentences about odd landmarks; `where` is the sculpt's file.

    Raises MoueError for fewer than three points, points on one line, landmarks in another unit than the sculpt, a
    landmark far from the sculpt, left and right swapped (all or one pair), sets that do not match, a sculpt that is
    inside out, and (unless `any_size`) a sculpt about 10, 100 or 1000 times larger or smaller than the head.
    """
    if len(pairs.names) == 0:
        raise MoueError("no landmark has a place on both the head and the sculpt", hint="mark three or more on both")
    if not np.isfinite(pairs.sculpt).all():
        bad = int(np.flatnonzero(~np.isfinite(pairs.sculpt).all(axis=1))[0])
        raise MoueError(f"landmark {pairs.names[bad]!r} on the sculpt is not a number")
    move = similarity(pairs.head, pairs.sculpt)
    _near_the_sculpt(pairs, sculpt)
    _sides(pairs, move)
    _alike(pairs, move)
    if not any_size:
        check_size(move.scale, where)
    notes = _outliers(pairs, move)
    _outward(pairs, head, sculpt, move, where)
    if not SIZES[0] < move.scale < SIZES[1]:
        notes.append(f"The sculpt is {move.scale:.3g} times the size of the head.")
    return move, notes


def _near_the_sculpt(pairs: Pairs, sculpt: ClosestSurface) -> None:
    size = float(np.linalg.norm(np.ptp(sculpt.positions, axis=0)))
    away = sculpt.closest(pairs.sculpt).distance
    if np.median(away) > FAR * size:
        for factor in (f for step in UNIT_STEPS for f in (step, 1 / step)):
            if np.median(sculpt.closest(pairs.sculpt * factor).distance) < FAR * size / 5:
                raise MoueError(
                    f"the landmarks on the sculpt are {_times(1 / factor)} the sculpt itself",
                    hint="give both in the same unit",
                )
    worst = int(np.argmax(away))
    if away[worst] > FAR * size:
        count = int((away > FAR * size).sum())
        raise MoueError(
            f"landmark {pairs.names[worst]!r} is {away[worst]:.1f} mm from the sculpt"
            + (f", {count - 1} more are far from it too" if count > 1 else ""),
            hint="place it on the surface",
        )


def _times(ratio: float) -> str:
    return f"{ratio:g} times as large as" if ratio > 1 else f"{1 / ratio:g} times smaller than"


def _swap_of(names: tuple[str, ...], only: str | None = None) -> NDArray[np.int64]:
    """(k,) for each name the index of its partner on the other side, its own where there is none; with `only`, a name
    without its side, that pair alone."""
    place = {name: i for i, name in enumerate(names)}
    order = np.arange(len(names))
    for name, i in place.items():
        if name.endswith("_left") and (only is None or name == only + "_left"):
            j = place.get(name[: -len("left")] + "right")
            if j is not None:
                order[i], order[j] = j, i
    return order


def _partner(name: str) -> str:
    """The name of a landmark on the other side."""
    return name[: -len("left")] + "right" if name.endswith("left") else name[: -len("right")] + "left"


def _misfit(pairs: Pairs, order: NDArray[np.int64]) -> float:
    """Root mean square in mm on the sculpt after the best similarity, partners exchanged by `order`."""
    move = similarity(pairs.head, pairs.sculpt[order])
    return float(np.sqrt(((move(pairs.head) - pairs.sculpt[order]) ** 2).sum(1).mean()))


def _sides(pairs: Pairs, move: Similarity) -> None:
    alone = [name for name in pairs.names if name.endswith(SIDES) and _partner(name) not in pairs.names]
    pairs = pairs.without(alone)  # a landmark without a partner fits worse after any exchange
    unswapped = np.arange(len(pairs.names))
    swap = _swap_of(pairs.names)
    if np.array_equal(unswapped, swap) or len(unswapped) < 3:
        return
    size = move.scale * float(np.linalg.norm(np.ptp(pairs.head, axis=0)))
    now = _misfit(pairs, unswapped)
    if now < GOOD_FIT * size:
        return
    hint = "exchange the names that end in _left and _right on one side"
    if _misfit(pairs, swap) < SWAPPED * now:
        raise MoueError("left and right are swapped between the head's and the sculpt's landmarks", hint=hint)
    for name in pairs.names:
        if name.endswith("_left"):
            one = _swap_of(pairs.names, name[: -len("_left")])
            if not np.array_equal(one, unswapped) and _misfit(pairs, one) < SWAPPED * now:
                stem = name[: -len("_left")]
                raise MoueError(f"landmarks {stem}_left and {stem}_right are swapped on one side", hint=hint)


def _alike(pairs: Pairs, move: Similarity) -> None:
    """Raises MoueError where the two sets differ too much after the best similarity."""
    extent = float(np.linalg.norm(np.ptp(pairs.sculpt, axis=0)))
    misfit = _misfit(pairs, np.arange(len(pairs.names)))
    if misfit > UNLIKE * extent:
        what = f"the landmarks of head and sculpt do not match: they are {misfit:.0f} mm apart where they fit best"
        raise MoueError(what, hint="check that every name is at its right place")


def check_size(scale: float, where: PathLike[str] | str | None) -> None:
    """Raise MoueError where a sculpt `scale` times as large as the head is in another unit, by the look of it."""
    for step in UNIT_STEPS:
        for factor in (step, 1.0 / step):
            if SIZES[0] < scale / factor < SIZES[1]:
                words = f"about {step:g} times {'larger' if factor > 1 else 'smaller'} than the head"
                raise MoueError(f"the sculpt is {words}", where, hint="give the unit of the sculpt")


def _outliers(pairs: Pairs, move: Similarity) -> list[str]:
    """Sentences for landmarks that lie far from where the other landmarks put them."""
    away = np.linalg.norm(move(pairs.head) - pairs.sculpt, axis=1)
    size = move.scale * float(np.linalg.norm(np.ptp(pairs.head, axis=0)))
    odd = np.flatnonzero((away > ODD * np.median(away)) & (away > ODD_SIZE * size))
    return [f"{_capital(named(pairs.names[i]))}: {away[i]:.1f} mm from where the others put it; check it." for i in odd]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _outward(
    pairs: Pairs, head: Head, sculpt: ClosestSurface, move: Similarity, where: PathLike[str] | str | None
) -> None:
    head_normals = move.turn(ClosestSurface(head.neutral, head.polygons.triangles).closest(pairs.head).normal)
    cosine = (head_normals * sculpt.closest(pairs.sculpt).normal).sum(1)
    if np.median(cosine) < INWARD:
        raise MoueError("the sculpt is inside out: its faces look inwards", where, hint="turn its faces over")
