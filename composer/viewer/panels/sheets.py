"""The small sheets that ask: what to do with unsaved changes, where to save, what to open."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.folder_browser import FolderBrowser
from composer.viewer.panels.others_sheet import draw_others
from composer.viewer.session.folders import fault_of, formats_words
from composer.viewer.session.open_job import begin_opening, discard_copy, open_copy
from composer.viewer.session.saving import save, save_at_stake, unless_unsaved
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

PLAIN = imgui.WindowFlags_.always_auto_resize | imgui.WindowFlags_.no_title_bar | imgui.WindowFlags_.no_move


@dataclass
class Sheets:
    """What is typed in them."""

    path: str = ""
    fault: str = ""
    folders: FolderBrowser = field(default_factory=FolderBrowser)

    def draw(self, stage: Stage, kit: Kit) -> None:
        """Whichever is asked for."""
        dialogs = stage.dialogs
        if dialogs.leave and begin_sheet("leave", kit):
            can_save = "document" in dialogs.at_stake or "landmarks" in dialogs.at_stake
            with kit.bold():
                imgui.text("Not saved yet:")
            for words in dialogs.at_stake.values():
                kit.quiet(kit.fit(words, kit.px(420)))
            if can_save:
                if kit.button("Save", "save, then continue", name="leave save"):
                    dialogs.leave = False
                    save_at_stake(stage)
                imgui.same_line()
            if kit.button(dialogs.without, "what is listed here is lost", name="leave without"):
                dialogs.leave, call, dialogs.ask = False, dialogs.ask, None
                if call is not None:
                    call()
            imgui.same_line()
            if kit.button("Cancel", name="leave stay") or imgui.is_key_pressed(imgui.Key.escape):
                dialogs.leave, dialogs.ask = False, None
            end_sheet(dialogs.leave)
        elif dialogs.waiting is not None and begin_sheet("waiting", kit):
            with kit.bold():
                imgui.text("A copy of this document holds changes that were not saved.")
            when = time.strftime("%A %d %B, %H:%M", time.localtime(dialogs.waiting.seconds))
            kit.quiet(f"Moue kept it on {when}, and was not closed properly afterwards.")
            hint = "the document's own file stays as it is until you save"
            if kit.button("Open the copy", hint, name="Take the copy"):
                open_copy(stage)
            imgui.same_line()
            if kit.button("Discard the copy", "open the document as it was saved last", name="leave copy"):
                discard_copy(stage)
            end_sheet(dialogs.waiting is not None)
        elif dialogs.save_as and stage.session is not None and begin_sheet("save as", kit):
            if imgui.is_window_appearing():
                self.path = str(stage.session.path.with_suffix(".moue"))
            self._path_sheet(stage, kit, "Save the document as", "Save", self._save_as)
            end_sheet(dialogs.save_as)
        elif dialogs.open_path and begin_sheet("open", kit):
            if imgui.is_window_appearing():
                self._appear(stage)
            self._path_sheet(stage, kit, "Open a library or a document", "Open", self._open, folder=True)
            end_sheet(dialogs.open_path)
        elif dialogs.path_for is not None and begin_sheet("path for", kit):
            heading, verb, take = dialogs.path_for
            if imgui.is_window_appearing():
                self._appear(stage)
            self._path_sheet(stage, kit, heading, verb, lambda stage, path: stage.guard(lambda: take(path)))
            end_sheet(dialogs.path_for is not None)
        elif not dialogs.any_open:
            draw_others(stage, kit, begin_sheet, end_sheet)

    def _appear(self, stage: Stage) -> None:
        """The sheet comes up, at the folder of what is open."""
        session = stage.session
        self.path, self.fault = "", ""
        self.folders.go(session.path.parent if session is not None else Path.home(), pictures=session is not None)

    def _path_sheet(  # type: ignore[no-untyped-def]
        self, stage: Stage, kit: Kit, heading: str, verb: str, call, folder: bool = False
    ) -> None:
        """A field for a path, and folders to choose it from; with `folder` the one that is looked at can be taken as it
        is. A fault stands at the field, and the sheet stays."""
        saves = stage.dialogs.save_as
        with kit.bold():
            imgui.text(heading)
        if imgui.is_window_appearing():
            imgui.set_keyboard_focus_here()
        wide = kit.px(480)
        imgui.set_next_item_width(wide)
        before = self.path
        hint = formats_words() if folder else ""
        entered, self.path = kit.text_field("sheet path", self.path, hint, imgui.InputTextFlags_.enter_returns_true)
        self.fault = self.fault if self.path == before else ""
        kit.fault(self.fault, "sheet path", wide)
        taken: Path | None = None
        if not saves:
            taken = self.folders.draw(kit, wide, kit.px(220))
            if folder:
                imgui.push_text_wrap_pos(imgui.get_cursor_pos_x() + wide)
                kit.quiet(f"Moue opens {formats_words()}.")
                imgui.pop_text_wrap_pos()
        if (kit.button(verb, name=f"sheet {verb.lower()}") or entered) and self.path.strip():
            self.fault = "" if saves else fault_of(self.path)
            if not self.fault:
                taken = Path(self.path.strip().strip('"')).expanduser()
        if folder:
            imgui.same_line()
            if kit.button("Open this folder", str(self.folders.listed.place), name="sheet this folder"):
                taken = self.folders.listed.place
        if taken is not None:
            _put_away(stage)
            call(stage, taken)
        imgui.same_line()
        if kit.button("Cancel", name="sheet leave") or imgui.is_key_pressed(imgui.Key.escape):
            _put_away(stage)
            stage.dialogs.ask = None

    def _save_as(self, stage: Stage, path: Path) -> None:
        if path.suffix.lower() not in (".moue", ".toml"):
            path = path.with_name(path.name + ".moue")
        save(stage, path)

    def _open(self, stage: Stage, path: Path) -> None:
        unless_unsaved(stage, lambda: begin_opening(stage, path))


def _put_away(stage: Stage) -> None:
    stage.dialogs.save_as = stage.dialogs.open_path = False
    stage.dialogs.path_for = None


def begin_sheet(name: str, kit: Kit) -> bool:
    """Begin a sheet in the middle of the window; whether it is there."""
    if not imgui.is_popup_open(name):
        imgui.open_popup(name)
    imgui.set_next_window_pos(imgui.get_main_viewport().get_center(), imgui.Cond_.always, ImVec2(0.5, 0.5))
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(20), kit.px(16)))
    imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(10))
    open_ = imgui.begin_popup_modal(name, None, PLAIN)[0]
    imgui.pop_style_var(2)
    return open_


def end_sheet(still: bool) -> None:
    """End it, and take it away unless it is `still` wanted."""
    if not still:
        imgui.close_current_popup()
    imgui.end_popup()
