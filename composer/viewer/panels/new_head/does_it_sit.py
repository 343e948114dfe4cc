"""Does it sit? The fit, its stages to look at, what is shown, and the tools that correct it by hand."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import imgui

from composer.fitting.guess import LEAST
from composer.viewer.new_head.new_head import NOW, NewHead
from composer.viewer.panels.new_head.what_is_left import CARRY, draw_carry, draw_what_is_left
from composer.viewer.session.fitting import PAINTING, RADIUS_MM, Fitting
from composer.viewer.session.open_job import open_sculpt
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

SHOWN = {"sculpt": "Sculpt", "cage": "Library", "both": "Both"}
SHOWN_HINTS = {
    "sculpt": "the sculpt, with the library's edges on it",
    "cage": "the library as it sits",
    "both": "both, each in a colour of its own",
}
TOOLS = {
    "place": "Landmarks", "vertex": "Vertex", "loop": "Loop", "even": "Even out", "form": "Keep form", "still": "Hold",
}  # fmt: skip
HINTS = {
    "place": "press places landmarks and points of curves",
    "vertex": "drag a vertex of the library along the sculpt",
    "loop": "drag a loop of the library along the sculpt; across it, all of it widens",
    "even": "strokes make loops more like the library's; nothing else moves",
    "form": "strokes give places the library's own form, whatever the sculpt shows there: hair, a hat, a hole",
    "still": "strokes hold places where they are, in everything that follows",
}
STAGE_WORDS = {
    "by the landmarks alone": "Landmarks alone",
    "bending": "Bent",
    "drawing rims to rims": "Rims",
    "landing on the sculpt": "Landed",
    "relaxing the loops": "Relaxed",
    "closing what is sealed": "Closed",
    "looking for borders": "Borders",
    "parting skin from skin": "Parted",
    "placing the parts": "Parts",
    "projecting": "Projected",
    "keeping the eyes behind their lids": "Eyes",
}
"""What a stage of the fit is called once it is done, by what it is called while it runs; others keep their words."""


@dataclass
class DoesItSit:
    """The path that is typed."""

    path: str = ""

    def draw(self, stage: Stage, kit: Kit, fitting: Fitting) -> None:
        """The whole panel, on the right."""
        new = stage.new_head
        self._sculpt(stage, kit)
        if new is None:
            imgui.push_text_wrap_pos(0)
            kit.quiet("A sculpt of any topology, scale and pose. The library is fitted onto it, and its expressions "
                      "are carried over.")  # fmt: skip
            imgui.pop_text_wrap_pos()
            return
        fitting.follow(new)
        kit.area("new steps", high=-kit.px(CARRY if fitting.fitted is not None else 1))
        kit.heading("Does it sit?")
        _fit(stage, kit, new, fitting)
        if new.cage is not None:
            _shown(stage, kit, new)
        if fitting.fitted is not None:
            _tools(stage, kit, fitting)
        draw_what_is_left(stage, kit, new, fitting)
        imgui.end_child()
        if fitting.fitted is not None:
            draw_carry(stage, kit, fitting)

    def _sculpt(self, stage: Stage, kit: Kit) -> None:
        """Which sculpt is open, and how to open one."""
        imgui.set_next_item_width(-kit.px(62))
        entered, self.path = kit.text_field(
            "sculpt path", self.path, "a sculpt: .obj, .ply, .stl, .off, .glb", imgui.InputTextFlags_.enter_returns_true
        )
        imgui.same_line(0, kit.px(4))
        if (kit.button("Open##sculpt", name="open sculpt", wide=kit.px(58)) or entered) and self.path.strip():
            open_sculpt(stage, Path(self.path.strip().strip('"')).expanduser())
        if stage.new_head is not None:
            new = stage.new_head
            kit.quiet(kit.fit(f"{new.sculpt.name}: {new.n_sculpt:,} vertices", imgui.get_content_region_avail().x))


def _fit(stage: Stage, kit: Kit, new: NewHead, fitting: Fitting) -> None:
    placed = len(new.placed)
    gap = kit.px(4)
    half = (imgui.get_content_region_avail().x - gap) / 2
    words = f"begin anew, through the {placed} landmarks that are placed; guesses do not count"
    if kit.button("Fit" if fitting.fitted is None else "Fit again", words, able=placed >= LEAST,
                  wide=half, name="Fit now"):  # fmt: skip
        fitting.fit(stage)
    imgui.same_line(0, gap)
    asked = new.asked_since() if fitting.fitted is not None else []
    hint = "bring it through what was placed and drawn since; only what is near changes"
    if kit.button("Refit near", hint, able=bool(asked), wide=half):
        fitting.refit(stage)
    if placed < LEAST:
        words = "find the head on the sculpt by its form, however it is turned and large; then look whether it sits"
        if kit.button("Start without points", words, wide=-1):
            fitting.fit(stage, by_form=True)
    _, fitting.fine = imgui.checkbox("fine as the sculpt", fitting.fine)
    kit.mark("finer levels")
    kit.tip("subdivide the library until its edges are as short as the sculpt's, to keep its detail; else coarse")
    imgui.same_line(0, kit.px(10))
    _, fitting.turn_over = imgui.checkbox("inside out", fitting.turn_over)
    kit.mark("turn over")
    kit.tip("for a sculpt whose faces look inwards")


def _shown(stage: Stage, kit: Kit, new: NewHead) -> None:
    stage.shown_of_new = kit.choice(SHOWN, stage.shown_of_new, SHOWN_HINTS, key="show ")
    changed, on = imgui.checkbox("distance as heat", stage.distance_heat)
    kit.mark("distance heat")
    kit.tip("how far the library's skin lies from the sculpt")
    if changed:
        stage.distance_heat = on
    if new.looks:
        kit.quiet("How it came about")
        names = {look.words: look_name(look.words) for look in new.looks}
        hints = dict.fromkeys(names, "look at the library after this stage of the fit") | {NOW: "as it stands now"}
        chosen = kit.choice({**names, NOW: "Now"}, new.looked_at, hints, "look ")
        if chosen != new.looked_at:
            new.look_at(chosen)
            if stage.shown_of_new == "sculpt":
                stage.shown_of_new = "cage"


def look_name(words: str) -> str:
    """What the button of a stage is called, by what the stage is called while it runs."""
    return STAGE_WORDS.get(words, words.capitalize())


def _tools(stage: Stage, kit: Kit, fitting: Fitting) -> None:
    kit.heading("By hand")
    tool = kit.choice(TOOLS, fitting.tool, HINTS, "hand ")
    if tool != fitting.tool:
        fitting.tool, fitting.erasing = tool, False
        if tool in PAINTING and stage.shown_of_new == "sculpt":
            stage.shown_of_new = "cage"
        if tool in ("vertex", "loop"):
            stage.shown_of_new = "sculpt"
    if tool == "place":
        return
    _, fitting.radius_mm = kit.slider("fit brush radius", fitting.radius_mm, *RADIUS_MM, "radius %.0f mm",
                                      imgui.SliderFlags_.logarithmic)  # fmt: skip
    kit.tip("Ctrl and wheel over the head, or the wheel while dragging")
    _, fitting.mirrored = imgui.checkbox("both sides", fitting.mirrored)
    kit.mark("both sides of the fit")
    kit.tip("the same on the other side of the face")
    if tool in ("form", "still"):
        imgui.same_line(0, kit.px(10))
        _, fitting.erasing = imgui.checkbox("erase", fitting.erasing)
        kit.mark("erase zone")
        kit.tip("strokes take places out of the zone")
    if tool == "even" and kit.button("Even out all", "the loops of the whole fitted library", wide=-1):
        fitting.even_out(stage, None)
