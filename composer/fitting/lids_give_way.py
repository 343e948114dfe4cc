"""Lids that do not follow the sculpt, out of the eyeball behind them.

What does not follow goes with its surroundings, and these know nothing of the eyeball: at a corner of the eye such a
lid may lie deep in the ball. Where it does, the skin about the ball that does not follow takes the form that it has
about the ball on the library, turned and scaled as the ball is, and what the skin around it is off that form is
continued smoothly (`fill`). The levels are judged together: where more faces cross or fold than before, all stays as it
is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from composer.fitting.align import Similarity, similarity
from composer.fitting.eye_room import deeper_than_there
from composer.fitting.eyes_again import eyes_in
from composer.fitting.fill import fill
from composer.fitting.loops import Loops
from composer.fitting.not_followed import Why
from composer.fitting.parts import NEAR
from composer.fitting.project import FILL_WIDTH, ProjectedLevel
from composer.fitting.sculpt import ball_centre
from composer.geometry.part import part_of
from composer.geometry.polygons import read_only
from composer.geometry.self_crossing import SelfCrossing
from composer.geometry.surface import Surface
from composer.head.head import Head

Rows = NDArray[np.float64]
Flags = NDArray[np.bool_]
DEEP = 0.02
"""A lid gives way that lies deeper in the ball than on the library by this share of the ball's radius, some 0.25 mm
(our choice)."""
JUDGED = 2.5
"""Skin within so many radii of the ball's centre is looked at for crossings and folds (our choice)."""


def lids_out_of_eyes(head: Head, levels: Sequence[ProjectedLevel]) -> tuple[list[ProjectedLevel], list[str]]:
    """The projected `levels` of a head, 0 first, with lids that give way to eyeballs, and a sentence for each eye whose
    lids did."""
    made, notes = list(levels), []
    for eye in eyes_in(head):
        given = lids_beside(made, eye.vertices)
        if given is not None:
            notes.append(f"The lids of {eye.name} give way where they lay in it and do not follow the sculpt.")
            made = given
    return made, notes


def lids_beside(levels: Sequence[ProjectedLevel], ball: NDArray) -> list[ProjectedLevel] | None:
    """The `levels`, 0 first, with the skin about an eyeball, whose vertices of the cage are `ball` (k,), in the
    library's form where it does not follow the sculpt. None where no such lid lies deep in the ball, and where more
    would cross or fold."""
    cage = levels[0]
    points = cage.reference[ball]
    centre = ball_centre(points)
    radius = float(np.median(np.linalg.norm(points - centre, axis=1)))
    move = similarity(points, cage.positions[ball])
    about = _about(cage, centre, NEAR * radius)
    lids = np.flatnonzero(about & (cage.why != Why.FOLLOWS) & (cage.why != Why.HOLLOW))
    deep = deeper_than_there(points, centre, cage.reference[lids], cage.positions[lids], move)
    if not (deep > DEEP * move.scale * radius).any():
        return None
    made = []
    for level in levels:
        given = _in_form(level, move, _about(level, centre, NEAR * radius) & (level.why != Why.FOLLOWS))
        if _worse(level, given, _about(level, centre, JUDGED * radius)):
            return None
        nowhere = np.zeros(0, dtype=bool)
        made.append(replace(level, positions=read_only(given), looked_at=nowhere, crossing=nowhere))
    return made


def _about(level: ProjectedLevel, centre: Rows, within: float) -> Flags:
    """(n_k,) the vertices of a level that lie `within` mm of `centre` (3,) on the library, without the pieces that keep
    their place, such as eyeballs."""
    return ~level.still & (np.linalg.norm(level.reference - centre, axis=1) < within)


def _in_form(level: ProjectedLevel, move: Similarity, gives: Flags) -> Rows:
    """(n_k, 3) mm, the level with the vertices that give way, `gives` (n_k,), where `move` puts the library's own, and
    what their surroundings are off that continued over them."""
    form = move(level.reference)
    surface = Surface(level.polygons, form)
    width = FILL_WIDTH / 2**level.k * surface.diagonal_mm
    given = np.array(level.positions)
    given[gives] = (form + fill(surface, level.positions - form, gives, width))[gives]
    return given


def _worse(level: ProjectedLevel, given: Rows, about: Flags) -> bool:
    """Whether more polygons of the vertices `about` (n_k,) cross others at `given` (n_k, 3) than before, or more are
    turned over or folded."""
    at = np.flatnonzero(about)
    part = part_of(level.polygons, at)
    test, loops = SelfCrossing(part), Loops(part, level.reference[at])
    before, after = level.positions[at], given[at]
    return bool(
        test.crossing_faces(after).sum() > test.crossing_faces(before).sum()
        or loops.bad(after).sum() > loops.bad(before).sum()
    )
