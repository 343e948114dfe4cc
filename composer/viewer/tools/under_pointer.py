"""What lies under the pointer while nothing is held: a place of the head, its region, or a landmark."""

from __future__ import annotations

from composer.viewer.session.pointing import look_up, region_at
from composer.viewer.session.stage import Stage
from composer.viewer.tools.place_mark import mark_at
from composer.viewer.tools.place_pair import pair_at


def point_out(stage: Stage) -> None:
    """Bring `stage.hit` and `stage.pointed`, the words for it, up to date."""
    x, y = stage.pointer
    if stage.place == "new":
        stage.hit, stage.pointed = None, pair_at(stage, x, y).replace("_", " ")
        return
    stage.hit = look_up(stage, x, y)
    stage.pointed = mark_at(stage, x, y).replace("_", " ") if stage.place == "marks" else region_at(stage, stage.hit)


def point_at_nothing(stage: Stage) -> None:
    """Nothing is pointed at, as while a drag or a panel has the pointer."""
    stage.hit, stage.pointed = None, ""
