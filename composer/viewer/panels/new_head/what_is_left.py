"""What is left? What a person should look at or do, each with the button that does it, and carrying over at the end."""

from __future__ import annotations

from imgui_bundle import imgui

from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.looking import look_at_landmark
from composer.viewer.session.saving import save_landmarks
from composer.viewer.session.stage import Stage
from composer.viewer.session.swapping import SWAPPING
from composer.viewer.session.whats_left import whats_left
from composer.viewer.ui.kit import Kit

CARRY = 132.0
"""Height of what carries over, in pixels at scale 1."""


def draw_what_is_left(stage: Stage, kit: Kit, new: NewHead, fitting: Fitting) -> None:
    """The list."""
    kit.heading("What is left?")
    items = whats_left(new)
    for number, item in enumerate(items):
        imgui.push_text_wrap_pos(0)
        imgui.text(item.words)
        imgui.pop_text_wrap_pos()
        if item.deed and kit.button(f"{item.label}##{number}", name=f"left {item.deed}"):
            _do(stage, new, fitting, item.deed)
    if not items:
        kit.quiet("Nothing.")


def draw_carry(stage: Stage, kit: Kit, fitting: Fitting) -> None:
    """What becomes of the fitted head, at the foot of the panel: it takes the place of the document's head, or a new
    document is made for it."""
    kit.heading("Carry the expressions over")
    hint = "the fitted head takes the place of the document's head, the library is carried onto it; one step of undo"
    busy = any(job.name == SWAPPING for job in stage.work.jobs)
    if kit.button("Swap in", hint, able=not busy, wide=-1):
        fitting.swap_in(stage)
    imgui.set_next_item_width(-1)
    _, fitting.folder = imgui.input_text("##carry folder", fitting.folder)
    kit.mark("carry folder")
    kit.tip("a new folder: the new head's document and its library")
    if kit.button("Carry and open", "carry every expression, region and recipe, and go on mixing", wide=-1):
        fitting.carry(stage)


def _do(stage: Stage, new: NewHead, fitting: Fitting, deed: str) -> None:
    if deed == "ask":
        stage.landmark, fitting.tool = new.next_asked(), "place"
        stage.shown_of_new = "sculpt"
    elif deed == "guesses":
        new.confirm()
    elif deed == "refit":
        fitting.refit(stage)
    elif deed == "fit":
        fitting.fit(stage)
    elif deed == "save":
        save_landmarks(stage)
    elif deed == "heat":
        stage.distance_heat, stage.shown_of_new = True, "cage"
    elif deed.startswith("landmark "):
        stage.landmark, fitting.tool = deed.removeprefix("landmark "), "place"
        look_at_landmark(stage, stage.landmark)
