"""Where the head stands in the sculpt's space: a similarity from landmark pairs, and whether the pairs make sense.

The similarity is Umeyama's (1991, "Least-squares estimation of transformation parameters between two point patterns"),
closed form: it minimises the weighted sum of |s R x + t - y|^2 over proper rotations R, scales s > 0 and shifts t.
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

Rows = NDArray[np.float64]
THIN = 1e-3
"""Points count as lying on a line where their second extent is below this share of the first."""
FAR = 0.05
"""Of the sculpt's diagonal: a landmark further than this from the sculpt is refused (common practice, no source)."""
SWAPPED = 0.5
"""Left and right count as swapped where the misfit falls below this share when they are."""
UNLIKE = 0.15
"""Of the landmarks' extent: no two faces are further apart after the best similarity (demo heads 0.015)."""
SIDES = ("_left", "_right")
SIZES = (0.4, 2.5)
"""Between these ratios of size a sculpt is a head in the same unit (people differ by a tenth, stylised heads more)."""
UNIT_STEPS = (10.0, 100.0, 1000.0)


@dataclass(frozen=True, eq=False)
class Pairs:
    """Landmarks that both sides have. `names`, `head` (k, 3) and `sculpt` (k, 3) are the points, in mm on either side;
    `curves` gives by name the two polylines (a, 3) and (b, 3), whose numbers of points need not agree, and the head's
    curve again as cage vertices (a,), -1 where a place of it is no vertex; `vertices` (k,) the same for the points.
    """

    names: tuple[str, ...]
    head: Rows
    sculpt: Rows
    vertices: NDArray[np.int64]
    curves: dict[str, tuple[Rows, Rows, NDArray[np.int64]]]

    def without(self, names: Sequence[str]) -> Pairs:
        """The pairs less some points and curves, such as those held out to judge a fit."""
        kept = [i for i, name in enumerate(self.names) if name not in names]
        return Pairs(
            tuple(self.names[i] for i in kept), self.head[kept], self.sculpt[kept], self.vertices[kept],
            {name: curve for name, curve in self.curves.items() if name not in names},
        )  # fmt: skip

    def moved(self, move: Similarity) -> Pairs:
        """The same pairs with the sculpt's side moved."""
        curves = {name: (here, move(there), ids) for name, (here, there, ids) in self.curves.items()}
        return Pairs(self.names, self.head, move(self.sculpt), self.vertices, curves)


def similarity(source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None) -> Similarity:
    """The similarity that takes `source` (k, 3) to `target` (k, 3) best, with weights (k,) >= 0; see the module.

    Raises MoueError for fewer than three pairs, or where either side lies on a line or in a point.
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
    """What `marks` (on the head's neutral) and `sculpt_marks` (on `sculpt_positions` (m, 3) mm) have in common.

    Raises MoueError where a vertex is not there.
    """
    places = np.asarray(sculpt_positions, dtype=np.float64)
    marks.check(head.n_vertices, "the head's landmarks")
    sculpt_marks.check(len(places), "the sculpt's landmarks")
    names = tuple(name for name in marks.points if name in sculpt_marks.points)
    ours = np.array([marks.position(n, head.neutral) for n in names]).reshape(-1, 3)
    theirs = np.array([sculpt_marks.position(n, places) for n in names]).reshape(-1, 3)
    vertices = np.array([v if isinstance(v := marks.points[n], int) else -1 for n in names], dtype=np.int64)
    curves = {}
    for name in marks.curves:
        if name in sculpt_marks.curves:
            line = marks.curves[name]
            ids = line.astype(np.int64) if isinstance(line, np.ndarray) else np.array(
                [p if isinstance(p, int) else -1 for p in line], dtype=np.int64
            )  # fmt: skip
            here, there = marks.curve_positions(name, head.neutral), sculpt_marks.curve_positions(name, places)
            if len(here) > 1 and len(there) > 1:
                curves[name] = (here, there, ids)
    return Pairs(names, ours, theirs, vertices, curves)


def check_pairs(
    pairs: Pairs, head: Head, sculpt: ClosestSurface, any_size: bool = False, where: PathLike[str] | None = None
) -> tuple[Similarity, list[str]]:
    """The similarity of the pairs and sentences about what looks odd in them; `where` is the sculpt's file.

    Raises MoueError, one line each, for: fewer than three points, points on a line, landmarks in another unit than
    the sculpt, a landmark far from the sculpt, left and right swapped (all or one pair), sets that do
    not match, a sculpt that is inside out, and (unless `any_size`) a sculpt 10, 100 or 1000 times
    larger or smaller than the head.
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
        _size(move.scale, where)
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
    """(k,) for each name the place of its partner on the other side, itself where there is none."""
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
    pairs = pairs.without(alone)  # what has no partner to be exchanged with would speak against any exchange
    own = np.arange(len(pairs.names))
    swap = _swap_of(pairs.names)
    if np.array_equal(own, swap) or len(own) < 3:
        return
    size = move.scale * float(np.linalg.norm(np.ptp(pairs.head, axis=0)))
    now = _misfit(pairs, own)
    if now < 0.02 * size:
        return
    hint = "exchange the names that end in _left and _right on one side"
    if _misfit(pairs, swap) < SWAPPED * now:
        raise MoueError("left and right are swapped between the head's and the sculpt's landmarks", hint=hint)
    for name in pairs.names:
        if name.endswith("_left"):
            one = _swap_of(pairs.names, name[: -len("_left")])
            if not np.array_equal(one, own) and _misfit(pairs, one) < SWAPPED * now:
                stem = name[: -len("_left")]
                raise MoueError(f"landmarks {stem}_left and {stem}_right are swapped on one side", hint=hint)


def _alike(pairs: Pairs, move: Similarity) -> None:
    """Raises MoueError where the two sets are no two faces, whatever is turned, moved and scaled."""
    extent = float(np.linalg.norm(np.ptp(pairs.sculpt, axis=0)))
    misfit = _misfit(pairs, np.arange(len(pairs.names)))
    if misfit > UNLIKE * extent:
        what = f"the landmarks of head and sculpt do not match: they are {misfit:.0f} mm apart where they fit best"
        raise MoueError(what, hint="see whether the names stand at the right places")


def _size(scale: float, where: PathLike[str] | None) -> None:
    for step in UNIT_STEPS:
        for factor in (step, 1.0 / step):
            if SIZES[0] < scale / factor < SIZES[1]:
                words = f"about {step:g} times {'larger' if factor > 1 else 'smaller'} than the head"
                raise MoueError(f"the sculpt is {words}", where, hint="say which unit the sculpt is in")


def _outliers(pairs: Pairs, move: Similarity) -> list[str]:
    """Sentences for landmarks that the others do not bear out (five times the median misfit and 5 percent)."""
    away = np.linalg.norm(move(pairs.head) - pairs.sculpt, axis=1)
    size = move.scale * float(np.linalg.norm(np.ptp(pairs.head, axis=0)))
    odd = np.flatnonzero((away > 5 * np.median(away)) & (away > 0.08 * size))
    return [
        f"Landmark {pairs.names[i]} lies {away[i]:.1f} mm from where the others put it; look at it again." for i in odd
    ]


def _outward(
    pairs: Pairs, head: Head, sculpt: ClosestSurface, move: Similarity, where: PathLike[str] | None
) -> None:
    ours = move.turn(ClosestSurface(head.neutral, head.polygons.triangles).closest(pairs.head).normal)
    agree = (ours * sculpt.closest(pairs.sculpt).normal).sum(1)
    if np.median(agree) < -0.3:
        raise MoueError("the sculpt is inside out: its faces look inwards", where, hint="turn its faces over")
