"""Softening the chosen region by hand: from the ramp that it has, narrower or wider."""

from __future__ import annotations

from composer.edits.softness import set_softness, softness_of
from composer.head.soft_borders import ramp_width_mm
from composer.mixing.recipe import ALL
from composer.viewer.session.session import Session
from composer.viewer.session.stage import Stage
from masks.soft_border import WIDEST_MM

STEP = 1.15
"""One step of the wheel makes a ramp so many times as wide. A design choice, no source."""
LEAST_MM = 1.0
"""The narrowest ramp that the wheel reaches, mm; the slider goes to 0."""


def width_mm(session: Session, region: str) -> float:
    """The width of a region's ramp in mm: as the document says, or else as its mask shows."""
    said = softness_of(session.project, region)
    return ramp_width_mm(session.head, session.evaluated.raw[region]) if said is None else said


def soften_by_steps(stage: Stage, steps: float) -> None:
    """Make the chosen region's ramp wider by `steps` of the wheel, narrower below 0; one step of undo each."""
    session = stage.opened
    if session.region == ALL:
        stage.say("Choose a region first: its softness is changed.")
        return
    wide = min(max(width_mm(session, session.region), LEAST_MM) * STEP**steps, WIDEST_MM)
    wide = round(max(wide, LEAST_MM), 1)
    if stage.do(lambda project: set_softness(project, session.region, wide)):
        stage.say(f"{session.region}: a ramp of {wide:g} mm.")
