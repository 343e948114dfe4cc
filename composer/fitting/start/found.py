"""A start of the fit without landmarks: the place that form alone gives, and whether to believe it.

Places come from `by_form.py`. From each in turn the most likely head under the sculpt is found, as in a fit; the first
whose relief agrees with the sculpt's is taken (`agreement.py`). Where none does, or the sculpt shows one half of the
head alone, that is said, and landmarks are asked for: a start is never taken because it is the best of bad ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from composer.errors import MoueError
from composer.fitting.align import Pairs, no_pairs
from composer.fitting.closest import ClosestSurface
from composer.fitting.mark_pulls import MarkPulls
from composer.fitting.prior.posterior import Posterior
from composer.fitting.prior.prior import Prior
from composer.fitting.prior.rims import find_rim
from composer.fitting.prior.skin_prior import skin_prior
from composer.fitting.skin import Skin
from composer.fitting.start.agreement import Agreement, agreement
from composer.fitting.start.by_form import Place, places_by_form
from composer.geometry.polygons import read_only
from composer.geometry.rigid import Similarity, similarity
from composer.geometry.surface import Surface
from composer.head.head import Head
from composer.progress import Progress

Rows = NDArray[np.float64]

SIGMA = 2e-3
"""Standard deviation of the sculpt about the skin, as a share of the diagonal: the middle of a fit's."""
AGREES = 0.6
"""Least correlation of the relief (see DEVELOPERS.md for what right and wrong places have)."""
PLACES = 3
"""Most places that are tried (our choice)."""
SHOWN = 0.4
"""Least share of the library's relief that lies on the sculpt: the back of a head, or its crown, can be placed, but a
face would be invented (our choice)."""
ONE_SIDE = 0.5
"""A sculpt shows one half alone where less than this share of what one side has lies on the other (our choice)."""
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
    trial = _Trial.of(head, free, earlier)
    say(0.2, "looking for the head by its form")
    tried: list[Start] = []
    for number, place in enumerate(trial.places(sculpt)[:PLACES]):
        say(0.4 + 0.2 * number, "looking for the head by its form")
        tried.append(trial.start(place, sculpt))
        if tried[-1].agreement.relief >= AGREES:
            break
    best = max(tried, key=lambda start: start.agreement.relief)
    if best.agreement.relief < AGREES:
        over = ClosestSurface(sculpt.positions, sculpt.triangles[:, ::-1])
        if trial.start(trial.places(over)[0], over).agreement.relief >= AGREES:
            raise MoueError("the sculpt is inside out: its faces look inwards", hint="turn its faces over")
        raise MoueError("the library's head is not found on the sculpt by its form alone", hint=HINT)
    if best.agreement.shown < SHOWN:
        raise MoueError("the sculpt does not show enough of the face to be found by its form alone", hint=HINT)
    fewer, more = sorted([(best.agreement.left, "left"), (best.agreement.right, "right")])
    if fewer[0] < ONE_SIDE * more[0]:
        raise MoueError(f"the sculpt shows little but the head's {more[1]} side", hint=HINT)
    return best


@dataclass(frozen=True, eq=False)
class _Trial:
    """What does not depend on the place: the skin, what is likely of it, and where it follows."""

    head: Head
    skin: Skin
    rest: Surface
    follow: Rows
    prior: Prior
    pairs: Pairs

    @classmethod
    def of(cls, head: Head, free: NDArray, earlier: Sequence[NDArray]) -> _Trial:
        skin = Skin.of(head)
        freedom = np.asarray(free, dtype=np.float64)[skin.vertices]
        rest = Surface(skin.polygons, head.neutral[skin.vertices])
        return cls(head, skin, rest, 1.0 - freedom, skin_prior(head, skin, freedom, earlier), no_pairs())

    def places(self, sculpt: ClosestSurface) -> list[Place]:
        """The different places of the part that follows, the best first."""
        triangles = self.skin.polygons.triangles
        followed = triangles[(self.follow > 0.5)[triangles].all(axis=1)]
        own = (self.rest.positions, followed if len(followed) else triangles)
        return places_by_form(own, (sculpt.positions, sculpt.triangles), self.head.diagonal)

    def start(self, place: Place, sculpt: ClosestSurface) -> Start:
        """The most likely head under the sculpt from a place, in rounds without landmarks."""
        scale, back = self.head.diagonal, place.move.inverse()
        here = ClosestSurface(back(sculpt.positions), sculpt.triangles)
        marks = MarkPulls.of(self.skin, self.pairs, self.head.neutral)
        posterior = Posterior(self.prior, self.rest, here, self.follow, marks, scale)
        begin = posterior.through_landmarks()
        rim = find_rim(self.head, self.skin, begin.positions, here)
        posterior.hold(None if rim is None else rim[0])
        placed = posterior.under_sculpt(begin, SIGMA).positions
        weight = self.rest.mass * self.follow
        aligned = similarity(self.rest.positions, place.move(placed), weight)
        positions = aligned(self.head.neutral)
        positions[self.skin.vertices] = place.move(placed)
        return Start(read_only(positions), aligned, agreement(self.rest, placed, self.follow, here, scale))


def start_words(start: Start) -> str:
    """A sentence for the artist: that the head was found by form, how well, and what to look at."""
    return (
        f"The head was found on the sculpt by its form alone, turned by {start.aligned.angle_deg:.0f} degrees; "
        f"its fine form agrees by {round(100 * start.agreement.relief)} percent (least accepted: "
        f"{round(100 * AGREES)}). Eyes, mouth and ears may sit up to some millimetres off: look, and mark points there."
    )
