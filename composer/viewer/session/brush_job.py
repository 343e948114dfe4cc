"""The brush's tables, made beside the frame loop for what is open."""

from __future__ import annotations

from collections.abc import Callable

from composer.viewer.session.painting import Painting
from composer.viewer.session.stage import Stage

PREPARING = "Preparing the brush"


def prepare_brush(stage: Stage, painting: Painting, refused: Callable[[], object]) -> None:
    """Begin to prepare the brush unless it is being prepared already. Where that fails it is told once, and the brush
    goes back to the neutral; where it was there already, `refused` leaves painting."""
    if any(job.name == PREPARING for job in stage.work.jobs):
        return
    session = stage.opened

    def failed(words: str) -> None:
        stage.say(words, "wrong")
        if painting.on_pose:
            painting.on_pose = False
        elif stage.place == "paint":
            refused()

    stage.work.begin(PREPARING, lambda progress: painting.painter_of(session), lambda _: None, failed)
