"""The sheet of keys: every key and every gesture on one page; a key can be changed here."""

from __future__ import annotations

from dataclasses import dataclass

from imgui_bundle import ImVec2, imgui

from composer.viewer.session.stage import Stage
from composer.viewer.tools.registry import TOOLS
from composer.viewer.ui import theme
from composer.viewer.ui.keys import ACTIONS, OTHER_GESTURES
from composer.viewer.ui.kit import Kit


@dataclass
class KeySheet:
    """The action whose new key is waited for."""

    waiting: str = ""
    scale: float = 0.0

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The sheet over the whole window, while it is asked for."""
        if not stage.dialogs.keys:
            self.waiting = ""
            return
        kit.dim("behind keys")
        display = imgui.get_io().display_size
        imgui.set_next_window_pos(ImVec2(display.x / 2, display.y / 2), imgui.Cond_.always, ImVec2(0.5, 0.5))
        wide, high = min(display.x - kit.px(60), kit.px(1120)), min(display.y - kit.px(40), kit.px(740))
        imgui.set_next_window_size(ImVec2(wide, high))
        imgui.push_style_color(imgui.Col_.window_bg, theme.vec4(theme.DEEP))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(10))
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(22), kit.px(18)))
        flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
        imgui.begin("keys sheet", None, flags)
        with kit.bold(22.0):
            imgui.text("Keys and gestures")
        imgui.same_line()
        if wide > kit.px(560):
            kit.quiet("   click a key to change it")
        imgui.same_line()
        kit.at_right("Close")
        if kit.button("Close", name="Close keys") or (imgui.is_key_pressed(imgui.Key.escape) and not self.waiting):
            stage.dialogs.keys = False
        imgui.dummy(ImVec2(0, kit.px(4)))
        kit.area("all keys")
        imgui.push_style_var(imgui.StyleVar_.frame_padding, ImVec2(kit.px(6), kit.px(1)))
        imgui.push_style_var(imgui.StyleVar_.item_spacing, ImVec2(kit.px(6), kit.px(3)))
        columns = _columns(3 if wide >= kit.px(980) else 2 if wide >= kit.px(600) else 1)
        if imgui.begin_table("keys", len(columns), imgui.TableFlags_.sizing_stretch_same):
            imgui.table_next_row()
            for column in columns:
                imgui.table_next_column()
                for group in column:
                    self._group(kit, group)
                    if group == "Board":
                        self._choices(stage, kit)
                    if group == "Recipes":
                        self._gestures(kit)
            imgui.end_table()
        imgui.pop_style_var(2)
        imgui.end_child()
        imgui.end()
        imgui.pop_style_var(2)
        imgui.pop_style_color()

    def _group(self, kit: Kit, group: str) -> None:
        kit.heading(group)
        for name, action in ACTIONS.items():
            if action.group != group:
                continue
            combo = "press a key" if self.waiting == name else kit.keys.words(name)
            if kit.button(f"{combo}##{name}", "", on=self.waiting == name, wide=kit.px(104), name=f"key {name}"):
                self.waiting = name
            imgui.same_line(0, kit.px(10))
            imgui.align_text_to_frame_padding()
            imgui.push_text_wrap_pos(0)
            imgui.text(action.words)
            imgui.pop_text_wrap_pos()
        imgui.dummy(ImVec2(0, kit.px(6)))

    def _gestures(self, kit: Kit) -> None:
        kit.heading("Gestures")
        of_tools = [(tool.gesture, tool.words) for tool in TOOLS if tool.gesture]
        for gesture, words in (*of_tools, *OTHER_GESTURES):
            imgui.text_colored(theme.vec4(theme.SAND), gesture)
            room = imgui.get_content_region_avail().x
            if imgui.calc_text_size(f"{gesture}  {words}").x < room:
                imgui.same_line(0, kit.px(8))
                kit.quiet(words)
            else:
                imgui.indent(kit.px(14))
                imgui.push_text_wrap_pos(0)
                kit.quiet(words)
                imgui.pop_text_wrap_pos()
                imgui.unindent(kit.px(14))

    def _choices(self, stage: Stage, kit: Kit) -> None:
        kit.heading("The window")
        settings = stage.settings
        _, settings.exchanged = imgui.checkbox("right drag moves, middle drag turns", settings.exchanged)
        kit.mark("exchange buttons")
        _, self.scale = kit.slider(
            "interface size", 100 * (self.scale or settings.scale), 75, 200, "size %.0f %%", wide=kit.px(180)
        )
        self.scale /= 100
        if imgui.is_item_deactivated_after_edit():
            settings.scale = round(self.scale, 2)
        if not imgui.is_item_active():
            self.scale = 0.0

    def choose(self, stage: Stage, kit: Kit, combo: str) -> None:
        """Give the waiting action a key; the action that had it keeps none."""
        if not combo:
            return
        for name, held in kit.keys.combos.items():
            if held == combo and name != self.waiting:
                kit.keys.combos[name] = ""
                stage.settings.keys[name] = ""
        kit.keys.combos[self.waiting] = combo
        stage.settings.keys[self.waiting] = combo
        self.waiting = ""


def _columns(count: int) -> list[list[str]]:
    """The groups of actions in one, two or three columns."""
    first, second, third = ["Document", "Places", "Board"], ["Looking", "Painting"], ["Recipes", "Time"]
    return {3: [first, second, third], 2: [[*first, *second], third], 1: [[*first, *second, *third]]}[count]
