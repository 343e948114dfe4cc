"""What is drawn besides a sculpt and the library on it: loops, landmarks, curves, what the hand is about to take."""

from __future__ import annotations

import numpy as np

from composer.head.places import SurfacePoint, resolve
from composer.viewer.new_head.both_surfaces import sculpt_line
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.render.look import Line, Look, Mark
from composer.viewer.scene.overlay import Shown
from composer.viewer.scene.picture_on_head import DOUBTED, FILE, OWN, mark_at_place
from composer.viewer.session.pointing import look_up_new
from composer.viewer.session.stage import Stage

PINNED = (159, 191, 143, 255)
HELD_PX, PIN_PX = 13.0, 7.0


def look_of_new(stage: Stage, new: NewHead, shown: Shown) -> Look:
    """The loops over the sculpt, its landmarks, the colours of `shown`."""
    marks = [*_landmarks(stage, new), *_by_hand(stage, new)]
    lines: list[Line] = []
    if stage.shown_of_new == "sculpt" or stage.wire:
        lines += new.ghost()
    lines += new.curve_lines()
    if len(stage.moved_line) > 1:
        lines.append(sculpt_line(list(stage.moved_line)))
    if stage.piece is not None:
        vertices, closed = stage.piece
        if len(vertices) > 1:
            lines.append(new.drawn.library_line(vertices, closed))
    return Look(shown.cover, False, tuple(lines), tuple(marks), stage.hidden_of_new, light=stage.light)


def loupe_middle(stage: Stage, new: NewHead) -> tuple[float, float, float] | None:
    """The place of the sculpt that the loupe shows: under the pointer, else where the chosen landmark lies, mm."""
    hit = look_up_new(stage, *stage.pointer, "sculpt")
    if hit is not None:
        point = hit.point
    elif stage.landmark in new.marks.places:
        point = resolve(new.marks.places[stage.landmark], new.sculpt.neutral)
    else:
        return None
    x, y, z = (round(float(v), 3) for v in point)
    return x, y, z


def _landmarks(stage: Stage, new: NewHead) -> list[Mark]:
    """Placed landmarks and guesses, the one that is moved, and the points of curves."""
    places: list[tuple[SurfacePoint, tuple[int, int, int, int], float]] = []
    for name, place in new.marks.places.items():
        if stage.moved_mark is None or stage.moved_mark[0] != name:
            colour = DOUBTED if name in new.marks.guessed else FILE
            places.append((place, colour, 15.0 if name == stage.landmark else 9.0))
    if stage.moved_mark is not None:
        places.append((stage.moved_mark[1], OWN, 15.0))
    places += [(point, OWN, 7.0) for point in stage.moved_line]
    for name, points in new.marks.curves.items():
        places += [(point, FILE, 11.0 if name == stage.landmark else 7.0) for point in points]
    drawn = (mark_at_place(place, colour, size, i) for i, (place, colour, size) in enumerate(places))
    return [mark for mark in drawn if mark is not None]


def _by_hand(stage: Stage, new: NewHead) -> list[Mark]:
    """The vertex under the pointer while vertices are drawn, and those that were moved before."""
    vertices = [] if stage.piece is None or len(stage.piece[0]) != 1 else [(int(stage.piece[0][0]), OWN, HELD_PX)]
    vertices += [(vertex, PINNED, PIN_PX) for vertex in new.step.pins]
    return [
        Mark(np.array([vertex + new.n_sculpt]), np.array([1.0]), colour, size) for vertex, colour, size in vertices
    ]
