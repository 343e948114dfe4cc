"""The menu of views: those that the document keeps, to go to, keep, rename and delete."""

from __future__ import annotations

from dataclasses import dataclass

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.reference_menu import STAYS, ReferenceMenu
from composer.viewer.session.kept_views import delete, go_to, keep_now, rename, shown
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

WIDE = 230.0
"""Width of the menu, in pixels at scale 1."""


@dataclass
class ViewsMenu:
    """The view that was chosen last, what is in the field of its name, of which view, and why it was refused; whether
    the menu is `asked` for by its key."""

    chosen: str = ""
    name: str = ""
    of: str = ""
    fault: str = ""
    asked: bool = False
    _to_be_named: bool = False

    def draw(self, stage: Stage, kit: Kit, references: ReferenceMenu) -> None:
        """The button, and the menu while it is open."""
        on = imgui.is_popup_open("views")
        if kit.button("Views", "views that the document keeps", "views", on=on) or self.asked:
            self.chosen = shown(stage) or self.chosen
            imgui.open_popup("views")
        self.asked = False
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(10), kit.px(9)))
        kit.under("Views", kit.px(WIDE + 20))
        if imgui.begin_popup("views"):
            imgui.dummy(ImVec2(kit.px(WIDE), 0))
            self._kept(stage, kit)
            if imgui.selectable("Keep this view", False, STAYS)[0]:
                self.chosen = keep_now(stage) or self.chosen
                self._to_be_named = bool(self.chosen)
            kit.mark("Keep this view")
            self._chosen(stage, kit)
            imgui.separator()
            if imgui.menu_item("Save a picture ...", kit.keys.words("picture"), False)[0]:
                stage.dialogs.picture = True
            kit.mark("Save a picture")
            if imgui.menu_item("Reference pictures ...", "", False)[0]:
                references.asked = True
            kit.mark("Reference pictures")
            imgui.end_popup()
        imgui.pop_style_var()
        references.draw(stage, kit)

    def _kept(self, stage: Stage, kit: Kit) -> None:
        """Every kept view."""
        views = stage.opened.project.views
        if not views:
            kit.quiet("This document keeps no view yet.")
        seen = shown(stage)
        for view in views:
            if imgui.selectable(f"{kit.fit(view.name, kit.px(WIDE))}##view {view.name}", view.name == seen, STAYS)[0]:
                self.chosen = view.name
                go_to(stage, view.name)
            kit.mark(f"kept view {view.name}")

    def _chosen(self, stage: Stage, kit: Kit) -> None:
        """What there is to do with the view that was chosen last."""
        name = self.chosen
        if name not in {view.name for view in stage.opened.project.views}:
            self.chosen = self.of = ""
            return
        imgui.separator()
        if self.of != name:
            self.of, self.name, self.fault = name, name, ""
        imgui.set_next_item_width(kit.px(WIDE))
        if self._to_be_named:
            self._to_be_named = False
            imgui.set_keyboard_focus_here()
        entered, self.name = kit.text_field("view name", self.name, flags=imgui.InputTextFlags_.enter_returns_true)
        kit.fault(self.fault, "view name", kit.px(WIDE))
        if entered:
            wanted = self.name.strip()
            self.fault = rename(stage, name, wanted)
            if not self.fault:
                self.chosen = self.of = wanted
        if imgui.selectable("Keep what you see in its place", False, STAYS)[0]:
            keep_now(stage, name)
        kit.mark("Keep in its place")
        if imgui.selectable("Delete view", False, STAYS)[0]:
            delete(stage, name)
        kit.mark("Delete view")
