"""The sheet that asks for a performance to be matched: its frames, the clip's name, and with what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.errors import MoueError
from composer.mixing.recipe import ALL
from composer.viewer.panels.match import REGIONS, SHAPES
from composer.viewer.panels.sheets import begin_sheet, end_sheet
from composer.viewer.session.folders import fault_of
from composer.viewer.session.match_take import TakeWish, free_clip_name, match_take
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui.kit import Kit

KEPT = {"keys": "Keys", "table": "Every frame"}
KEPT_HINTS = {
    "keys": "as few keys as keep every vertex within so many mm: they can be moved and weighed in the strip",
    "table": "a table of weights beside the document, as it was matched",
}
WIDE = 480.0
"""Width of the fields, in pixels at scale 1."""


@dataclass
class TakeSheet:
    """What was chosen last."""

    path: str = ""
    name: str = ""
    regions: str = "every"
    shapes: str = "every"
    kept: str = "keys"
    thin: float = 0.2
    rate: float = 0.0
    fault: str = ""
    _named: str = ""

    def draw(self, stage: Stage, kit: Kit, strip: TimeStrip, in_tray: Sequence[str]) -> None:
        """The sheet, while it is asked for; `in_tray` are the shapes that the tray shows."""
        if not stage.dialogs.match_take or not begin_sheet("match take", kit):
            return
        with kit.bold():
            imgui.text("Match a performance")
        kit.quiet("Frames of this head's topology become a clip, and the head's own motion.")
        if imgui.is_window_appearing():
            imgui.set_keyboard_focus_here()
        before = self.path, self.name
        imgui.set_next_item_width(kit.px(WIDE))
        hint = "a folder with a mesh a frame, or an NPZ, GLB or USD file"
        _, self.path = kit.text_field("take path", self.path, hint)
        self._name(stage, kit)
        if (self.path, self.name) != before:
            self.fault = ""
        self._choices(stage, kit, in_tray)
        kit.fault(self.fault, "take", kit.px(WIDE))
        imgui.dummy(ImVec2(0, kit.px(4)))
        usable = [name for name in in_tray if name not in stage.opened.evaluated.correctives.names]
        able = bool(self.path.strip() and self.name.strip()) and (self.shapes == "every" or bool(usable))
        if kit.button("Match", name="take match", able=able, on=able):
            self._match(stage, strip, tuple(usable))
        imgui.same_line()
        if kit.button("Cancel", name="take leave") or imgui.is_key_pressed(imgui.Key.escape):
            stage.dialogs.match_take, self.fault = False, ""
        end_sheet(stage.dialogs.match_take)

    def _name(self, stage: Stage, kit: Kit) -> None:
        usual = free_clip_name(stage.opened.project, self._source()) if self.path.strip() else ""
        if self.name in ("", self._named):
            self.name = self._named = usual
        kit.quiet("the clip's name, and the frames' rate where the file does not say it")
        imgui.set_next_item_width(kit.px(WIDE - 132))
        _, self.name = kit.text_field("take name", self.name)
        imgui.same_line(0, kit.px(8))
        imgui.set_next_item_width(kit.px(124))
        form = "%g a second" if self.rate > 0.0 else "the file's, or 24"
        _, self.rate = imgui.input_float("##take rate", self.rate, 0.0, 0.0, form)
        kit.mark("take rate")
        kit.tip("0: the rate that the file says, or 24 frames a second")

    def _choices(self, stage: Stage, kit: Kit, in_tray: Sequence[str]) -> None:
        kit.quiet("with")
        row = stage.opened.region
        hints = {"row": "the base row" if row == ALL else row.replace("_", " ")}
        self.regions = kit.choice(REGIONS, self.regions, hints, "take region ")
        tray = {"tray": f"the {len(in_tray)} that the search and group leave"}
        self.shapes = kit.choice(SHAPES, self.shapes, tray, "take shape ")
        kit.quiet("kept as")
        self.kept = kit.choice(KEPT, self.kept, KEPT_HINTS, "take kept ")
        if self.kept == "keys":
            imgui.same_line(0, kit.px(8))
            _, thin = kit.slider("take thin", self.thin, 0.02, 2.0, "within %.2f mm", wide=kit.px(200))
            self.thin = max(thin, 0.02)

    def _source(self) -> Path:
        return Path(self.path.strip().strip('"')).expanduser()

    def _refused(self, stage: Stage, fault: str) -> None:
        """The frames could not be matched: the sheet comes back, and says why."""
        self.fault, stage.dialogs.match_take = fault, True

    def _match(self, stage: Stage, strip: TimeStrip, usable: tuple[str, ...]) -> None:
        self.fault = fault_of(self.path)
        if self.fault:
            return
        rate = self.rate if self.rate > 0.0 else None
        wish = TakeWish(
            self._source(), self.name.strip(), (stage.opened.region,) if self.regions == "row" else None,
            usable if self.shapes == "tray" else None, self.thin if self.kept == "keys" else None, rate,
        )  # fmt: skip
        try:
            if rate is not None and not 0.001 <= rate <= 1000.0:
                raise MoueError(f"{rate:g} is no rate", hint="give frames a second, from 1 to 1000")
            match_take(stage, wish, strip.show, lambda fault: self._refused(stage, fault))
        except MoueError as error:
            self.fault = str(error)
            return
        stage.dialogs.match_take = False
