"""The panels of a new head: open a sculpt, place its landmarks, fit the library onto it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.fitting.guess import LEAST
from composer.viewer.new_head.new_head import NewHead
from composer.viewer.session.saving import save_landmarks
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

SHOWN = {"sculpt": "Sculpt", "cage": "Library", "both": "Both"}


@dataclass
class NewHeadPanel:
    """The path that is typed, and what is shown of the two."""

    path: str = ""
    search: str = ""

    def draw_marks(self, stage: Stage, kit: Kit) -> None:
        """On the left: the list of landmarks, with the chosen one shown large on the library's head."""
        new = stage.new_head
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("Landmarks")
        if new is None:
            imgui.push_text_wrap_pos(0)
            kit.quiet("Open a sculpt first, on the right, or drop its file on the window.")
            imgui.pop_text_wrap_pos()
            return
        marks = new.marks
        placed = len(new.placed)
        imgui.same_line()
        kit.quiet(f"{placed} placed, {len(marks.guessed)} guessed")
        self._loupe(stage, kit, new)
        half = (imgui.get_content_region_avail().x - kit.px(4)) / 2
        hint = f"guess from {LEAST} or more that are placed; after a fit, from the fitted library"
        if kit.button("Guess the rest", hint, able=placed >= LEAST, wide=half):
            stage.guard(new.guess)
        imgui.same_line(0, kit.px(4))
        if kit.button("Accept guesses", "every guess counts as placed from now on",
                      able=bool(marks.guessed), wide=half):  # fmt: skip
            new.confirm()
        kit.area("new marks", high=-kit.px(36))
        for name in new.names:
            self._row(stage, kit, new, name)
        if new.lines:
            kit.heading("Curves that the fit should follow")
        for name in new.lines:
            self._row(stage, kit, new, name)
        imgui.end_child()
        if kit.button("Save landmarks", "in a file beside the sculpt; moue fit reads it, too"):
            save_landmarks(stage)
        imgui.same_line(0, kit.px(4))
        hint = "remove the chosen landmark from the sculpt, or a curve's last point"
        able = stage.landmark in marks.places or stage.landmark in marks.curves
        if kit.button("Remove", hint, able=able, name="Remove landmark"):
            new.take_away(stage.landmark)

    def _loupe(self, stage: Stage, kit: Kit, new: NewHead) -> None:
        """The chosen landmark on the library's own head, large."""
        wide = imgui.get_content_region_avail().x
        side = min(wide, kit.px(190))
        at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
        low = ImVec2(at.x + (wide - side) / 2, at.y)
        high = ImVec2(low.x + side, low.y + side)
        known = stage.landmark in new.names or stage.landmark in new.lines
        picture = kit.picture("landmark", stage.landmark) if known else None
        if picture:
            draw.add_image_rounded(
                imgui.ImTextureRef(picture), low, high, ImVec2(0, 0), ImVec2(1, 1), u32(theme.TEXT), kit.px(8)
            )
        else:
            draw.add_rect_filled(low, high, u32(theme.DEEP), kit.px(8))
            words = "choose a landmark below"
            size = imgui.calc_text_size(words)
            draw.add_text(ImVec2(low.x + (side - size.x) / 2, low.y + (side - size.y) / 2), u32(theme.QUIET), words)
        imgui.dummy(ImVec2(wide, side + kit.px(4)))
        kit.mark("loupe")
        kit.tip("where the chosen landmark lies on the library's head; press on the same place of the sculpt, along a "
                "curve from end to end")  # fmt: skip

    def _row(self, stage: Stage, kit: Kit, new: NewHead, name: str) -> None:
        at, wide, high = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail().x, kit.px(24)
        if imgui.selectable(f"##new {name}", name == stage.landmark, 0, ImVec2(wide, high))[0]:
            stage.landmark = name
        kit.mark(f"new landmark {name}")
        marks, draw = new.marks, imgui.get_window_draw_list()
        if name in marks.guessed:
            sign, colour = "solo", theme.SAND
        else:
            placed = name in marks.places or len(marks.curves.get(name, ())) > 1
            sign, colour = ("dot", theme.MOSS) if placed else ("solo", theme.EDGE)
        kit.sign(sign, at.x + kit.px(10), at.y + high / 2, kit.px(11), colour)
        more = " (guessed)" if name in marks.guessed else ""
        if name in marks.curves:
            more = f" ({len(marks.curves[name])} points)"
        words = kit.fit(name.replace("_", " ") + more, wide - kit.px(28))
        ink = theme.TEXT if name in marks.places or name in marks.curves else theme.QUIET
        draw.add_text(ImVec2(at.x + kit.px(22), at.y + (high - imgui.get_font_size()) / 2), u32(ink), words)

    def draw_steps(
        self, stage: Stage, kit: Kit, open_sculpt: Callable[[Path], None], steps: Callable[[Kit], None]
    ) -> None:
        """On the right: the sculpt, what is shown, and the steps that follow; `steps` draws those."""
        new = stage.new_head
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("New head")
        imgui.set_next_item_width(-kit.px(62))
        entered, self.path = imgui.input_text_with_hint(
            "##sculpt", "a sculpt: .obj, .ply, .stl, .glb", self.path, imgui.InputTextFlags_.enter_returns_true
        )
        kit.mark("sculpt path")
        imgui.same_line(0, kit.px(4))
        if (kit.button("Open##sculpt", name="open sculpt", wide=kit.px(58)) or entered) and self.path.strip():
            open_sculpt(Path(self.path.strip().strip('"')).expanduser())
        if new is None:
            imgui.push_text_wrap_pos(0)
            kit.quiet("Open a sculpt of any topology, scale and pose. The library is fitted onto it, and its "
                      "expressions are carried over.")  # fmt: skip
            imgui.pop_text_wrap_pos()
            return
        kit.quiet(f"{new.sculpt.name}: {new.n_sculpt:,} vertices")
        stage.shown_of_new = kit.choice(SHOWN, stage.shown_of_new, key="show ")
        changed, on = imgui.checkbox("distance as heat", stage.distance_heat)
        kit.mark("distance heat")
        kit.tip("how far the library's skin lies from the sculpt")
        if changed:
            stage.distance_heat = on
        imgui.separator()
        steps(kit)

