"""The sheet that asks for a target to be matched, and with which regions and shapes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from imgui_bundle import ImVec2, imgui

from composer.mixing.recipe import ALL
from composer.viewer.panels.sheets import begin_sheet, end_sheet
from composer.viewer.session.folders import fault_of
from composer.viewer.session.sculpts import SPARSE, Wish, match_target
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit

REGIONS = {"every": "Every region", "row": "The chosen row"}
SHAPES = {"every": "Every shape", "tray": "Those in the tray"}
MOST_SPARSE = 0.5


@dataclass
class MatchSheet:
    """What was chosen last."""

    path: str = ""
    fault: str = ""
    regions: str = "every"
    shapes: str = "every"
    sparse: float = SPARSE
    high: float = 1.0
    symmetric: bool = False

    def draw(self, stage: Stage, kit: Kit, in_tray: Sequence[str]) -> None:
        """The sheet, while it is asked for; `in_tray` are the shapes that the tray shows."""
        if not begin_sheet("match", kit):
            return
        with kit.bold():
            imgui.text("Match a target")
        kit.quiet("Makes the recipe whose pose comes nearest to a target of this head's topology.")
        if imgui.is_window_appearing():
            imgui.set_keyboard_focus_here()
        before = self.path
        imgui.set_next_item_width(kit.px(480))
        entered, self.path = kit.text_field(
            "match path", self.path, "the target's file", imgui.InputTextFlags_.enter_returns_true
        )
        self.fault = self.fault if self.path == before else ""
        kit.fault(self.fault, "match path", kit.px(480))
        self._choices(stage, kit, in_tray)
        imgui.dummy(ImVec2(0, kit.px(4)))
        wish = self.wish(stage, in_tray)
        able = bool(self.path.strip()) and wish.shapes != ()
        if kit.button("Match", name="match now", able=able) or (entered and able):
            self.fault = fault_of(self.path)
            if not self.fault:
                stage.dialogs.match = False
                path = Path(self.path.strip().strip('"')).expanduser()
                stage.guard(lambda: match_target(stage, path, wish))
        imgui.same_line()
        if kit.button("Cancel", name="match leave") or imgui.is_key_pressed(imgui.Key.escape):
            stage.dialogs.match = False
        end_sheet(stage.dialogs.match)

    def _choices(self, stage: Stage, kit: Kit, in_tray: Sequence[str]) -> None:
        kit.quiet("with")
        row = stage.opened.region
        self.regions = kit.choice(
            REGIONS, self.regions, {"row": "the base row" if row == ALL else row.replace("_", " ")}, "match region "
        )
        self.shapes = kit.choice(
            SHAPES, self.shapes, {"tray": f"the {len(in_tray)} that the search and group leave"}, "match shape "
        )
        wide = kit.px(236)
        _, sparse = kit.slider("match sparse", self.sparse * 100, 0, MOST_SPARSE * 100, "sparse %.0f %%", wide=wide)
        kit.tip("0: every cell that helps; more: fewer cells, and a larger distance to the target")
        imgui.same_line(0, kit.px(8))
        _, high = kit.slider("match high", self.high * 100, 20, 200, "weights up to %.0f %%", wide=wide)
        self.sparse, self.high = sparse / 100, high / 100
        _, self.symmetric = imgui.checkbox("Left and right alike", self.symmetric)
        kit.mark("match symmetric")

    def wish(self, stage: Stage, in_tray: Sequence[str]) -> Wish:
        """What was chosen, for the open document."""
        session = stage.opened
        usable = [name for name in in_tray if name not in session.evaluated.correctives.names]
        return Wish(
            (session.region,) if self.regions == "row" else None, tuple(usable) if self.shapes == "tray" else None,
            self.sparse, self.symmetric, self.high,
        )  # fmt: skip
