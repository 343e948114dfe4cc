"""A small browser of folders inside a sheet: where one is, the folders and files there, and a way up."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.errors import shorten_middle
from composer.viewer.session.folders import Listed, list_folder
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit


@dataclass
class FolderBrowser:
    """The folder that is looked at, read once."""

    listed: Listed = field(default_factory=lambda: Listed(Path()))
    pictures: bool = False

    def go(self, place: Path, pictures: bool | None = None) -> None:
        """Look at a folder, or at the one that holds a file."""
        place = place.expanduser()
        self.pictures = self.pictures if pictures is None else pictures
        try:
            place = (place if place.is_dir() else place.parent).resolve()
        except (OSError, ValueError):
            place = Path.home()
        self.listed = list_folder(place if place.is_dir() else Path.home(), self.pictures)

    def draw(self, kit: Kit, wide: float, high: float) -> Path | None:
        """The list, `wide` by `high` pixels; what was chosen in this frame: a file, or None."""
        listed, chosen = self.listed, None
        above = listed.place.parent != listed.place
        if kit.button("Up", "the folder that holds this one", able=above, name="folder up"):
            self.go(listed.place.parent)
        imgui.same_line(0, kit.px(8))
        imgui.align_text_to_frame_padding()
        kit.quiet(kit.fit(shorten_middle(str(listed.place), 60), wide - kit.px(60)))
        imgui.push_style_color(imgui.Col_.child_bg, theme.vec4(theme.DEEP))
        imgui.begin_child("folders", ImVec2(wide, high), imgui.ChildFlags_.always_use_window_padding)
        if listed.fault:
            kit.fault(listed.fault, "folder", wide - kit.px(16))
        room = imgui.get_content_region_avail().x
        for name in listed.folders:
            if imgui.selectable(f"{kit.fit(name, room - kit.px(30))}/##folder {name}", False)[0]:
                self.go(listed.place / name)
            kit.mark(f"folder {name}")
        for name in listed.files:
            if imgui.selectable(f"{kit.fit(name, room - kit.px(20))}##file {name}", False)[0]:
                chosen = listed.place / name
            kit.mark(f"file {name}")
        if not listed.folders and not listed.files and not listed.fault:
            kit.quiet("nothing here that Moue opens" if listed.others else "an empty folder")
        imgui.end_child()
        imgui.pop_style_color()
        return chosen
