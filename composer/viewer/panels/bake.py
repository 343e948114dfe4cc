"""The bake sheet: folder, format and recipes; the files that would be written, and then those that were."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.document.bake import Planned, bake, planned
from composer.errors import shorten_middle
from composer.formats.registry import FORMATS
from composer.head.levels import vertex_count
from composer.mixing.recipe import Recipe
from composer.viewer.session.same_key import same_key
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit

WRITTEN = {
    suffix: form.name if suffix[1:].upper() == form.name.upper() else suffix[1:].upper()
    for form in FORMATS if form.writes for suffix in form.suffixes
}  # fmt: skip
"""Every kind of file that can be written, by its suffix: what `composer.formats.registry` lists."""
UNITS = ("as the head", "mm", "cm", "m", "in")
STANDS = {
    "new": ("new", theme.MOSS),
    "baked": ("written again", theme.QUIET),
    "changed": ("changed since: kept", theme.CORAL),
}
MOST_LEVEL = 5


@dataclass
class Bake:
    """The sheet's own choices; `over` names changed files that may be overwritten."""

    folder: str = ""
    suffix: str = ".obj"
    unit: str = UNITS[0]
    name: str = "{recipe}"
    level: int = 0
    left_out: set[str] = field(default_factory=set)
    over: set[str] = field(default_factory=set)
    plan: list[Planned] = field(default_factory=list)
    fault: str = ""
    written: list[Path] = field(default_factory=list)
    _key: tuple = ()
    _tick: int = 0

    def draw(self, stage: Stage, kit: Kit) -> None:
        """The sheet, while it is asked for."""
        session = stage.session
        if session is None or not stage.dialogs.bake:
            self.written = []
            return
        if not self.folder:
            self.folder = str(session.path.parent / "baked")
        kit.dim("behind bake")
        display = imgui.get_io().display_size
        imgui.set_next_window_pos(ImVec2(display.x / 2, display.y / 2), imgui.Cond_.always, ImVec2(0.5, 0.5))
        wide, high = min(kit.px(820), display.x - kit.px(40)), min(kit.px(600), display.y - kit.px(40))
        imgui.set_next_window_size(ImVec2(wide, high))
        imgui.push_style_color(imgui.Col_.window_bg, theme.vec4(theme.DEEP))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(10))
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(22), kit.px(18)))
        flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
        imgui.begin("bake sheet", None, flags)
        with kit.bold(22.0):
            imgui.text("Bake recipes as targets")
        imgui.dummy(ImVec2(0, kit.px(6)))
        half = (imgui.get_content_region_avail().x - kit.px(24)) * 0.44
        kit.area("choices", half, -kit.px(46))
        self._choices(stage, kit)
        imgui.end_child()
        imgui.same_line(0, kit.px(24))
        kit.area("files", high=-kit.px(46))
        self._files(stage, kit)
        imgui.end_child()
        self._foot(stage, kit)
        imgui.end()
        imgui.pop_style_var(2)
        imgui.pop_style_color()

    def chosen(self, stage: Stage) -> list[Recipe]:
        """The recipes that are to be baked."""
        assert stage.session is not None
        return [r for r in stage.session.project.recipes if r.name not in self.left_out]

    def _choices(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        kit.quiet("into this folder")
        imgui.set_next_item_width(-1)
        _, self.folder = kit.text_field("bake folder", self.folder)
        kit.tip(self.folder)
        kit.quiet("format")
        self.suffix = kit.choice(WRITTEN, self.suffix, key="format ")
        kit.quiet("unit")
        imgui.set_next_item_width(kit.px(150))
        if imgui.begin_combo("##unit", self.unit if self.unit != UNITS[0] else f"{UNITS[0]} ({session.head.unit})"):
            for unit in UNITS:
                if imgui.selectable(unit, unit == self.unit)[0]:
                    self.unit = unit
                kit.mark(f"unit {unit}")
            imgui.end_combo()
        kit.mark("bake unit")
        kit.quiet("how fine")
        imgui.set_next_item_width(kit.px(230))
        count = f"{vertex_count(session.head.polygons, self.level):,} vertices"
        words = f"coarse: {count}" if self.level == 0 else f"fine %.0f: {count}"
        _, level = kit.slider("bake level", self.level, 0, MOST_LEVEL, words, wide=kit.px(230))
        self.level = round(level)
        kit.tip("coarse is the library as it is; a step has some four times the vertices, and the library's detail")
        kit.quiet("names, from {recipe} and {document}")
        imgui.set_next_item_width(kit.px(230))
        _, self.name = kit.text_field("bake names", self.name)
        kit.quiet("recipes")
        for recipe in session.project.recipes:
            _, on = imgui.checkbox(
                kit.fit(recipe.name, kit.px(250)) + f"##{recipe.name}", recipe.name not in self.left_out
            )
            kit.mark(f"bake {recipe.name}")
            (self.left_out.discard if on else self.left_out.add)(recipe.name)

    def _look(self, stage: Stage) -> None:
        """Update the list of files beside the frame loop, where a choice, the document or two seconds have changed."""
        if _baking(stage):
            return
        session = stage.opened
        chosen = self.chosen(stage)
        key = (self.folder, self.suffix, self.name, tuple(r.name for r in chosen), session.project,
               len(self.written))  # fmt: skip
        tick = int(stage.clock() / 2.0)
        fresh = same_key(key, self._key)
        if fresh and tick == self._tick:
            return
        if not fresh:
            self.plan, self.fault = [], ""
        self._key, self._tick = key, tick
        evaluated, folder, suffix, name = session.evaluated, Path(self.folder).expanduser(), self.suffix, self.name

        def found(plan: list[Planned], fault: str = "") -> None:
            if same_key(self._key, key):
                self.plan, self.fault = plan, fault

        stage.work.begin(
            "Looking at files",
            lambda progress: planned(evaluated, folder, chosen, suffix=suffix, name=name),
            found,
            lambda line: found([], line),
            quiet=True,
        )

    def _files(self, stage: Stage, kit: Kit) -> None:
        session = stage.opened
        if self.written:
            with kit.bold():
                imgui.text_colored(theme.vec4(theme.MOSS), f"{len(self.written)} files written")
            for path in self.written:
                imgui.text(kit.fit(path.name, imgui.get_content_region_avail().x))
            kit.quiet(shorten_middle(str(self.written[0].parent), 60))
            return
        self._look(stage)
        with kit.bold():
            imgui.text(f"{len(self.plan)} files")
        if self.fault:
            imgui.push_text_wrap_pos(0)
            imgui.text_colored(theme.vec4(theme.CORAL), self.fault)
            imgui.pop_text_wrap_pos()
        for file in self.plan:
            words, colour = STANDS[file.stands]
            at = imgui.get_cursor_screen_pos()
            imgui.text(kit.fit(file.name, imgui.get_content_region_avail().x - kit.px(190)))
            imgui.same_line(imgui.get_content_region_avail().x + imgui.get_cursor_pos_x() - kit.px(180))
            if file.stands == "changed":
                _, on = imgui.checkbox(f"overwrite##{file.name}", file.name in self.over)
                kit.mark(f"overwrite {file.name}")
                kit.tip("this file has changed since the last bake")
                (self.over.add if on else self.over.discard)(file.name)
            else:
                imgui.text_colored(theme.vec4(colour), words)
            kit.seen[f"file {file.name}"] = (at.x, at.y, at.x + 200, at.y + 18)
        if session.held.hides:
            imgui.push_text_wrap_pos(0)
            kit.quiet("Solo and mute do not change a bake: it has every cell. To leave a row out, set its amount to 0.")
            imgui.pop_text_wrap_pos()

    def _foot(self, stage: Stage, kit: Kit) -> None:
        busy = _baking(stage)
        asks = not self.written and not busy
        blocked = [f.name for f in self.plan if asks and f.stands == "changed" and f.name not in self.over]
        able = bool(self.plan) and not blocked and not self.fault and bool(self.chosen(stage)) and not busy
        if not self.written and kit.button("Bake", "write these files", able=able, name="Bake now", on=able):
            self.run(stage)
        if self.written and kit.button("Bake again", "show the list of files again"):
            self.written = []
        imgui.same_line()
        if kit.button("Close", name="Close bake") or (imgui.is_key_pressed(imgui.Key.escape) and not busy):
            stage.dialogs.bake = False
        if blocked:
            imgui.same_line()
            imgui.align_text_to_frame_padding()
            imgui.text_colored(
                theme.vec4(theme.CORAL),
                f"{len(blocked)} changed since the last bake: tick overwrite, or choose another folder",
            )

    def run(self, stage: Stage) -> None:
        """Bake beside the frame loop."""
        session = stage.opened
        evaluated, recipes, folder = session.evaluated, self.chosen(stage), Path(self.folder).expanduser()
        unit = None if self.unit == UNITS[0] else self.unit
        suffix, name, level = self.suffix, self.name, self.level
        over = [f.name for f in self.plan if f.stands == "changed" and f.name in self.over]

        self._key = ()  # what was found before this bake says nothing about the files after it

        def done(files: list[Path]) -> None:
            self.written, self.plan, self._key = files, [], ()
            stage.say(f"Baked {len(files)} files into {folder}", "done")

        stage.work.begin(
            f"Baking {len(recipes)} recipe{'s' if len(recipes) != 1 else ''}",
            lambda progress: bake(evaluated, folder, recipes, suffix=suffix, unit=unit, name=name, level=level,
            over=over,
                                  progress=progress),
            done, asks=True,
        )  # fmt: skip


def _baking(stage: Stage) -> bool:
    """Whether a bake is under way."""
    return any(job.name.startswith("Baking") for job in stage.work.jobs)
