"""The list of regions while painting: choose, make, rename, copy, delete, lock, share, split and mirror them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from imgui_bundle import ImVec2, imgui
from numpy.typing import NDArray

from composer.document.project import Region
from composer.edits.names import free_name
from composer.edits.picture_mask import copy_mask
from composer.edits.regions import (
    add_region,
    delete_region,
    duplicate_region,
    mirror_mask,
    recipes_with_region,
    rename_region,
    set_locked,
    set_region_set,
    split_region,
)
from composer.edits.spots import unused_spots, without_unused_spots
from composer.head.presets import region_set
from composer.viewer.panels.swatch import swatch
from composer.viewer.session.pictured import take_picture
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

SPLIT_RAMP_MM = 12.0
OVERLAY_SET = "overlay"


@dataclass
class RegionList:
    """What is being renamed, why its name was refused, what is searched for, and the region scrolled to last."""

    naming: str = ""
    name: str = ""
    fresh: bool = False
    search: str = ""
    fault: str = ""
    in_sight: str = ""

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The whole panel."""
        session = stage.opened
        imgui.align_text_to_frame_padding()
        with kit.bold():
            imgui.text("Regions")
        kit.at_right("New")
        if kit.button("New", "an empty region, to be painted", name="New region"):
            imgui.open_popup("new region")
        self._new_menu(stage, kit)
        self.search = kit.search("search regions", self.search)
        kit.area("regions")
        high = kit.px(27)
        if not session.project.regions:
            kit.quiet("No region yet. New makes one.")
        words_of = kit.apart(session.region_names[1:], imgui.get_content_region_avail().x - kit.px(72))
        for region in session.project.regions:
            if self.search.lower() not in region.name.lower():
                continue
            if self.naming == region.name:
                self._name_field(stage, kit, region)
                continue
            at = imgui.get_cursor_screen_pos()
            wide = imgui.get_content_region_avail().x
            if imgui.selectable(f"##{region.name}", region.name == session.region, 0, ImVec2(wide, high))[0]:
                session.region = region.name
            kit.mark(f"region {region.name}")
            if region.name == session.region != self.in_sight:
                self.in_sight = region.name
                if not imgui.is_item_visible():
                    imgui.set_scroll_here_y(0.5)
            if kit.menu_asked():
                imgui.open_popup(f"region menu {region.name}")
            if imgui.is_item_hovered() and imgui.is_mouse_double_clicked(0):
                self._begin(region.name)
            draw = imgui.get_window_draw_list()
            swatch(kit, session.signs[region.name], at.x + kit.px(14), at.y + high / 2)
            draw.add_text(
                ImVec2(at.x + kit.px(31), at.y + (high - imgui.get_font_size()) / 2),
                u32(theme.TEXT),
                words_of[region.name],
            )
            if region.locked:
                kit.sign("lock", at.x + wide - kit.px(10), at.y + high / 2, kit.px(13), theme.SAND)
            if region.set != "face":
                kit.sign("replace", at.x + wide - kit.px(27), at.y + high / 2, kit.px(12), theme.QUIET)
            imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(10), kit.px(9)))
            if imgui.begin_popup(f"region menu {region.name}"):
                session.region = region.name
                self._menu(stage, kit, region)
                imgui.end_popup()
            imgui.pop_style_var()
        imgui.end_child()

    def _begin(self, name: str) -> None:
        self.naming, self.name, self.fresh, self.fault = name, name, True, ""

    def _name_field(self, stage: Stage, kit: Kit, region: Region) -> None:
        imgui.set_next_item_width(-1)
        if self.fresh:
            imgui.set_keyboard_focus_here()
        flags = imgui.InputTextFlags_.enter_returns_true | imgui.InputTextFlags_.auto_select_all
        entered, self.name = kit.text_field("region name", self.name, flags=flags)
        left = not self.fresh and imgui.is_item_deactivated()
        self.fresh = False
        if entered:
            wanted = self.name.strip()
            self.fault = stage.fault_of(lambda p: rename_region(p, region.name, wanted))
            self.fresh = bool(self.fault)
            if not self.fault:
                stage.opened.region = wanted
        if (entered and not self.fault) or (left and not entered):
            self.naming, self.fault = "", ""
        kit.fault(self.fault, "region name")

    def _new_menu(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        if not imgui.begin_popup("new region"):
            return
        if imgui.menu_item("Empty, to be painted", "", False)[0]:
            self.new(stage, overlay=False)
        kit.mark("Empty region")
        if imgui.menu_item("Empty, over the others", "", False)[0]:
            self.new(stage, overlay=True)
        kit.mark("Empty overlay")
        if imgui.menu_item("From a picture", "", False, session.head.uv is not None)[0]:
            stage.dialogs.path_for = ("A picture in texture coordinates, white inside", "Read",
                                      lambda path: take_picture(stage, path))  # fmt: skip
        kit.mark("From a picture")
        kit.tip("a grey PNG, TIFF or JPEG, painted in the head's texture coordinates; or drop one on the window")
        unused = unused_spots(session.project)
        if unused and imgui.menu_item(f"Delete {len(unused)} spots without a weight", "", False)[0]:
            stage.do(without_unused_spots, "Deleted; undo brings them back.")
        kit.mark("Delete unused spots")
        if session.head.landmarks and imgui.begin_menu("From landmarks"):
            have = {region.name for region in session.project.regions}
            missing = [name for name in region_set().names if name not in have]
            if not missing:
                kit.quiet("every one exists already")
            for name in missing:
                if imgui.menu_item(name, "", False)[0]:
                    source = {"from": "landmarks", "preset": name}
                    if stage.do(lambda p, n=name, s=source: add_region(p, Region(n, s))):  # type: ignore[misc]
                        session.region = name
                kit.mark(f"from landmarks {name}")
            imgui.end_menu()
        imgui.end_popup()

    def new(self, stage: Stage, overlay: bool) -> None:
        """An empty region, chosen and ready to be named."""
        session = stage.opened
        name = free_name("region", session.region_names)
        region = Region(name, {"from": "file"}, set=OVERLAY_SET if overlay else "face")
        if stage.do(lambda p: add_region(p, region, np.zeros(session.head.n_vertices))):
            session.region = name
            self._begin(name)

    def _menu(self, stage: Stage, kit: Kit, region: Region) -> None:
        session = stage.opened
        name, raw = region.name, session.evaluated.raw[region.name]
        with kit.bold():
            imgui.text(kit.fit(name, kit.px(240)))
        ramp, side = SPLIT_RAMP_MM, session.head.neutral[:, 0]
        overlay = region.set != "face"
        for words, call in (
            ("Rename", lambda: self._begin(name)),
            ("Duplicate", lambda: self._duplicate(stage, name)),
            ("Unlock" if region.locked else "Lock", lambda: stage.do(lambda p: set_locked(p, name, not region.locked))),
            ("Share with the face" if overlay else "Lay over the others",
             lambda: stage.do(lambda p: set_region_set(p, name, "face" if overlay else OVERLAY_SET))),
            ("Split into left and right", lambda: stage.do(lambda p: split_region(p, name, raw, side, ramp))),
            ("Mirror onto the other side", lambda: self._mirror(stage, name)),
            ("Put a picture in its place", lambda: self._picture(stage, name)),
            ("Delete", lambda: self._delete(stage, name)),
        ):  # fmt: skip
            if imgui.menu_item(words, "", False)[0]:
                call()
            kit.mark(f"{words} region")
        self._copy_menu(stage, kit, name, raw)

    def _copy_menu(self, stage: Stage, kit: Kit, name: str, raw: NDArray) -> None:
        """The other regions, which can take this one's mask."""
        others = [each for each in stage.opened.project.regions if each.name != name]
        if others and imgui.begin_menu("Copy its mask to"):
            for each in others:
                if imgui.menu_item(each.name, "", False, not each.locked)[0]:
                    stage.do(lambda p, to=each.name: copy_mask(p, name, to, raw),  # type: ignore[misc]
                             f"{each.name} has the mask of {name}.")  # fmt: skip
                kit.mark(f"copy mask to {each.name}")
            imgui.end_menu()
        kit.mark("Copy its mask to")

    def _picture(self, stage: Stage, name: str) -> None:
        heading = f"A picture in texture coordinates for {name}, white inside"
        stage.dialogs.path_for = (heading, "Read", lambda path: take_picture(stage, path, name))

    def _duplicate(self, stage: Stage, name: str) -> None:
        session = stage.opened
        copy = duplicate_region(session.history.committed, name)[1]
        if stage.do(lambda p: duplicate_region(p, name)[0]):
            session.region = copy

    def _mirror(self, stage: Stage, name: str) -> None:
        session = stage.opened
        stage.do(lambda p: mirror_mask(p, name, session.evaluated.raw[name], session.evaluated.mirror_map), "Mirrored.")

    def _delete(self, stage: Stage, name: str) -> None:
        session = stage.opened
        users = recipes_with_region(session.project, name)
        if stage.do(lambda p: delete_region(p, name)):
            losses = (
                f", with its cells in {', '.join(users[:3])}" + (" and more" if len(users) > 3 else "") if users else ""
            )
            stage.say(f"Deleted {name}{losses}; undo brings it back.")
