"""The menu of reference pictures, and the frame about the one that is being placed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from imgui_bundle import ImVec2, imgui

from composer.document.reference_picture import ReferencePicture
from composer.edits.references import replace_reference
from composer.viewer.session.reference_pictures import add_reference, box_in_view, change, take_away
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

STAYS = imgui.SelectableFlags_.no_auto_close_popups
WIDE = 260.0
"""Width of the menu, in pixels at scale 1."""
TALLEST = 4.0
"""The largest height of the bar, in heights of the view; larger ones are typed in the document (our choice)."""
LIES = {"behind": "Behind the head", "over": "Over it"}
HOW = "Drag the picture; a corner sizes it. Escape: done."


@dataclass
class ReferenceMenu:
    """The picture that was chosen last, and whether the menu is `asked` for."""

    chosen: str = ""
    asked: bool = False

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The menu, while it is open."""
        if self.asked:
            self.asked = False
            stage.references.look_again()
            imgui.open_popup("references")
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(10), kit.px(9)))
        kit.under("Views", kit.px(WIDE + 20))
        if imgui.begin_popup("references"):
            imgui.dummy(ImVec2(kit.px(WIDE), 0))
            references = stage.opened.project.references
            if not references:
                kit.quiet("No reference picture yet.")
            for one in references:
                words = f"{kit.fit(one.name, kit.px(WIDE))}##reference {one.name}"
                if imgui.selectable(words, one.name == self.chosen, STAYS)[0]:
                    self.chosen = one.name
                kit.mark(f"reference {one.name}")
            if imgui.menu_item("Add a picture ...", "", False)[0]:
                stage.dialogs.path_for = (
                    "A picture to lay behind the head", "Lay it",
                    lambda path: add_reference(stage, path, lambda name: setattr(self, "chosen", name)),
                )  # fmt: skip
            kit.mark("Add a reference")
            chosen = [each for each in references if each.name == self.chosen] or references[:1]
            if chosen:
                self.chosen = chosen[0].name
                imgui.separator()
                self._one(stage, kit, chosen[0])
            imgui.end_popup()
        imgui.pop_style_var()

    def _one(self, stage: Stage, kit: Kit, one: ReferencePicture) -> None:
        """What there is to do with one of them."""
        name = one.name
        kit.fault(stage.references.fault(stage, one), "reference", kit.px(WIDE))
        _slid(stage, kit, one, "opacity", one.opacity, (0.0, 1.0), "%.0f %% opaque")
        _slid(stage, kit, one, "height", one.height, (0.05, TALLEST), "%.0f %% of the view's height")
        lies = kit.choice(LIES, "over" if one.over else "behind", key="reference lies ")
        if (lies == "over") != one.over:
            change(stage, name, over=lies == "over")
        shown = imgui.checkbox("Show it", not one.hidden)[1]
        kit.mark("reference shown")
        if shown == one.hidden:
            change(stage, name, hidden=not shown)
        if imgui.menu_item("Place by hand", "", stage.references.placing == name, not one.hidden)[0]:
            stage.references.placing = "" if stage.references.placing == name else name
            if stage.references.placing:
                stage.say(HOW)
        kit.mark("Place by hand", not one.hidden)
        if imgui.selectable("Fill the view's height", False, STAYS)[0]:
            change(stage, name, middle=(0.0, 0.0), height=1.0)
        kit.mark("Fill the view")
        if imgui.selectable("Take it away", False, STAYS)[0]:
            take_away(stage, name)
        kit.mark("Take reference away")


def _slid(
    stage: Stage, kit: Kit, one: ReferencePicture, key: str, value: float, limits: tuple[float, float], form: str
) -> None:
    """A bar for one value of a reference, in percent: seen while it is held, one step when it is let go."""
    session, (low, high) = stage.opened, limits
    changed, percent = kit.slider(f"reference {key}", 100 * value, 100 * low, 100 * high, form, wide=kit.px(WIDE))
    if changed:
        share = round(min(max(percent / 100, low), high), 4)
        values: dict[str, float] = {key: share}
        stage.guard(lambda: session.preview(
            lambda p: replace_reference(p, one.name, replace(p.reference(one.name), **values))  # type: ignore[arg-type]
        ))  # fmt: skip
    if imgui.is_item_deactivated_after_edit():
        session.commit()


def draw_placing(stage: Stage, kit: Kit) -> None:
    """The frame of the picture that is being placed, with its corners."""
    name = stage.references.placing
    box = box_in_view(stage, name) if name else None
    if box is None:
        return
    draw, (left, top, wide, high) = imgui.get_background_draw_list(), stage.view
    draw.push_clip_rect(ImVec2(left, top), ImVec2(left + wide, top + high), True)
    draw.add_rect(ImVec2(box[0], box[1]), ImVec2(box[2], box[3]), u32(theme.SAND), 0.0, kit.px(1.5))
    for x in (box[0], box[2]):
        for y in (box[1], box[3]):
            side = kit.px(6)
            draw.add_rect_filled(ImVec2(x - side, y - side), ImVec2(x + side, y + side), u32(theme.SAND), kit.px(2))
    draw.pop_clip_rect()
