"""What lies under the pointer while nothing is held: a place of the head, its region, or a landmark."""

from __future__ import annotations

import numpy as np

from composer.head.plain_names import plain_name
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.painting import Painting
from composer.viewer.session.pointing import look_up, look_up_new, region_at
from composer.viewer.session.shared_ground import painting_words
from composer.viewer.session.stage import Stage
from composer.viewer.tools.grip_cage import led_line, piece_at
from composer.viewer.tools.place_mark import mark_at
from composer.viewer.tools.place_pair import pair_at


def point_out(stage: Stage, fitting: Fitting, painting: Painting) -> None:
    """Bring `stage.hit` and `stage.pointed`, the words for it, up to date."""
    x, y = stage.pointer
    if stage.place == "new":
        _point_out_new(stage, fitting)
        return
    stage.hit = look_up(stage, x, y)
    if stage.place == "marks":
        stage.pointed = plain_name(mark_at(stage, x, y))
    elif stage.place == "paint":
        stage.pointed = painting_words(stage, painting, stage.hit)
    else:
        stage.pointed = region_at(stage, stage.hit)


def _point_out_new(stage: Stage, fitting: Fitting) -> None:
    """The landmark of a sculpt under the pointer, or the piece of the fitted library that a press would take."""
    new, (x, y) = stage.new_head, stage.pointer
    by_hand = fitting.gripping or fitting.brushing
    stage.hit = look_up_new(stage, x, y, "library") if by_hand else None
    stage.pointed = "" if by_hand else plain_name(pair_at(stage, x, y))
    kept, stage.piece = stage.piece, None
    if fitting.gripping and stage.hit is not None and new is not None:
        piece = piece_at(new, fitting.tool, stage.hit)
        line, closed = led_line(new, piece, fitting.radius_mm)
        if kept is None or not np.array_equal(kept[0], line):
            kept = (line, closed)
        stage.piece = kept
        if piece.line is not None:
            kind = "closed loop" if piece.closed else "loop"
            stage.pointed = f"{len(line)} of the {len(piece.line)} vertices of a {kind}"


def point_at_nothing(stage: Stage) -> None:
    """Nothing is pointed at, as while a drag or a panel has the pointer."""
    stage.hit, stage.pointed, stage.piece = None, "", None
