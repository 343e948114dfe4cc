"""A start of the fit without landmarks: the place that form alone gives, and whether to believe it.

Places come from `by_form.py` and are judged side by side (`rivals.py`). The best is believed where its relief agrees
with the sculpt's and it is clearly better than every other, half turns of it among them; where that is in doubt, other
starts are tried and the two best are judged by the whole prior. Where none is believed, or the sculpt shows one half of
the head alone, that is said, and landmarks are asked for: a start is never taken because it is the best of bad ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from composer.errors import MoueError
from composer.fitting.closest import ClosestSurface
from composer.fitting.start.agreement import Agreement
from composer.fitting.start.by_form import places_by_form
from composer.fitting.start.rivals import SHOWN, Judge, Rival, best_first
from composer.geometry.polygons import read_only
from composer.geometry.rigid import Similarity
from composer.geometry.vectors import cross, dot, lengths
from composer.head.head import Head
from composer.progress import Progress

Rows = NDArray[np.float64]

AGREES = 0.6
"""Least correlation of the relief (see DEVELOPERS.md for what right and wrong places have)."""
PLACES = 4
"""Places that are judged at first; where it is in doubt as many more, and as many from other starts (our choice)."""
OTHERWISE = Rotation.from_rotvec([0.3, -0.25, 0.35]).as_matrix()
"""The turn of the other starts: half a step between neighbours among the turns of an icosahedron (our choice)."""
ONE_SIDE = 0.5
"""A sculpt shows one half alone where less than this share of what one side has lies on the other (our choice)."""
CLEARLY_OUT = 0.1
"""How far a sculpt's faces must look away from its middle, or towards it, for that to be clear, a share of what a
ball's do (our choice; the half of a ball has .88). Where they look out nothing is looked for inside out, where they
look in that comes first: both take seconds."""
LOOKING = "looking for the head by its form"
HINT = "mark four points on it, such as the outer eye corners, the nose's tip and the chin"


@dataclass(frozen=True, eq=False)
class Start:
    """A start by form: `positions` (n, 3) mm of the head's vertices in the sculpt's space, parts moved with the whole;
    the similarity `aligned` of the head onto them; and how well both agree."""

    positions: Rows
    aligned: Similarity
    agreement: Agreement


def start_by_form(
    head: Head, sculpt: ClosestSurface, free: NDArray, earlier: Sequence[NDArray] = (),
    progress: Progress | None = None,
) -> Start:  # fmt: skip
    """The head found on a sculpt. `free` (n,) in [0, 1] is where it does not follow; `earlier` as in a fit.

    Raises MoueError where it is not found, and asks for landmarks.
    """
    say: Progress = progress or (lambda fraction, words: None)
    judge = Judge.of(head, free, earlier)
    say(0.2, LOOKING)
    out = outward(sculpt)
    if out < -CLEARLY_OUT:
        _not_turned_over(judge, sculpt, say)
    best = _found(judge, sculpt, say, doubtful=True)
    if best is None:
        if abs(out) <= CLEARLY_OUT:
            _not_turned_over(judge, sculpt, say)
        raise MoueError("the library's head is not found on the sculpt by its form alone", hint=HINT)
    if best.agreement.shown < SHOWN:
        raise MoueError("the sculpt does not show enough of the face to be found by its form alone", hint=HINT)
    fewer, more = sorted([(best.agreement.left, "left"), (best.agreement.right, "right")])
    if fewer[0] < ONE_SIDE * more[0]:
        raise MoueError(f"the sculpt shows little but the head's {more[1]} side", hint=HINT)
    positions = best.aligned(head.neutral)
    positions[judge.skin.vertices] = best.placed
    return Start(read_only(positions), best.aligned, best.agreement)


def _found(judge: Judge, sculpt: ClosestSurface, say: Progress, doubtful: bool) -> Rival | None:
    """The place that is believed, judged by the whole prior, or None. With `doubtful` more is tried before a place is
    given up."""
    own, goal, scale = judge.followed(), (sculpt.positions, sculpt.triangles), judge.head.diagonal
    places = places_by_form(own, goal, scale)
    say(0.5, LOOKING)
    fine = judge.fine_form(sculpt, places[0].move.scale)
    rivals = best_first([judge.quickly(place.move, fine) for place in places[:PLACES]])
    if rivals[0].agreement.relief >= AGREES and rivals[0].is_clear_of(rivals):
        say(0.8, LOOKING)
        best = judge.wholly(rivals[0].aligned, fine, sculpt)
        return best if best.agreement.relief >= AGREES else None
    if not doubtful:
        return None
    say(0.6, LOOKING)
    more = [*places[PLACES : 2 * PLACES], *places_by_form(own, goal, scale, OTHERWISE)[:PLACES]]
    rivals = best_first([*rivals, *(judge.quickly(place.move, fine) for place in more)])
    apart = [rivals[0], *[each for each in rivals if not each.is_same(rivals[0])][:1]]
    best, *rest = best_first([judge.wholly(each.aligned, fine, sculpt) for each in apart])
    return best if best.agreement.relief >= AGREES and best.is_clear_of(rest) else None


def _not_turned_over(judge: Judge, sculpt: ClosestSurface, say: Progress) -> None:
    """Raises MoueError where the head is found on the sculpt with its faces turned over."""
    over = ClosestSurface(sculpt.positions, sculpt.triangles[:, ::-1])
    if _found(judge, over, say, doubtful=False) is not None:
        raise MoueError("the sculpt is inside out: its faces look inwards", hint="turn its faces over")


def outward(sculpt: ClosestSurface) -> float:
    """How far a sculpt's faces look away from its middle, in [-1, 1]: 1 for a ball, -1 for one turned inside out. By
    area, the way of each face times its normal, over the length of the way."""
    corners = sculpt.positions[sculpt.triangles]
    area = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size, middle = lengths(area), corners.mean(axis=1)
    way = middle - np.average(middle, axis=0, weights=np.maximum(size, 1e-300))
    return float(dot(way, area).sum() / max(float((lengths(way) * size).sum()), 1e-300))


def start_words(start: Start) -> str:
    """A sentence for the artist: that the head was found by form, how well, and what to look at."""
    return (
        f"The head was found on the sculpt by its form alone, turned by {start.aligned.angle_deg:.0f} degrees; "
        f"its fine form agrees by {round(100 * start.agreement.relief)} percent (least accepted: "
        f"{round(100 * AGREES)}). Eyes, mouth and ears may sit up to some millimetres off: look, and mark points there."
    )
