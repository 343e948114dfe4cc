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

CARRY = 100.0
"""Height of what carries over, in pixels at scale 1."""


def draw_what_is_left(stage: Stage, kit: Kit, new: NewHead, fitting: Fitting) -> None:
    """The list."""
    kit.heading("What is left?")
    items = whats_left(new)
    for number, item in enumerate(items):
        imgui.push_text_wrap_pos(0)
        kit.text(item.words)
        imgui.pop_text_wrap_pos()
        if item.deed and kit.button(f"{item.label}##{number}", name=f"left {item.deed}"):
            _do(stage, new, fitting, item.deed)
    if not items:
        kit.quiet("Nothing.")


def draw_carry(stage: Stage, kit: Kit, fitting: Fitting) -> None:
    """A new document in a folder, or this document on the new head, at the foot of the panel."""
    kit.heading("Carry the expressions over")
    imgui.set_next_item_width(-1)
    _, fitting.folder = kit.text_field("carry folder", fitting.folder)
    kit.tip("a new folder: the new head's document and its library")
    gap = kit.px(4)
    half = (imgui.get_content_region_avail().x - gap) / 2
    hint = "a document of its own: every expression, region and recipe, to go on mixing"
    if kit.button("Carry and open", hint, wide=half):
        fitting.carry(stage)
    imgui.same_line(0, gap)
    hint = "the fitted head takes the place of this document's head, the library is carried onto it; one step of undo"
    if kit.button("Swap in", hint, able=all(job.name != SWAPPING for job in stage.work.jobs), wide=half):
        fitting.swap_in(stage)


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
