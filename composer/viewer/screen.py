"""One frame of panels: where each of them lies, and what of the head is drawn between them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.bake import Bake
from composer.viewer.panels.board.board import draw_board
from composer.viewer.panels.board.state import Board
from composer.viewer.panels.brush import draw_brush
from composer.viewer.panels.findings import Findings
from composer.viewer.panels.fit_steps import draw_fit_steps
from composer.viewer.panels.header import draw_header
from composer.viewer.panels.key_sheet import KeySheet
from composer.viewer.panels.marks import draw_marks
from composer.viewer.panels.match import MatchSheet
from composer.viewer.panels.new_head import NewHeadPanel
from composer.viewer.panels.recipes import Recipes
from composer.viewer.panels.regions import RegionList
from composer.viewer.panels.sheets import Sheets
from composer.viewer.panels.tray import Tray, carried_ghost
from composer.viewer.panels.viewbar import ONE_LINE, draw_viewbar
from composer.viewer.panels.welcome import Welcome
from composer.viewer.panels.words import draw_words
from composer.viewer.scene.overlay import Shown
from composer.viewer.session.fitting import Fitting
from composer.viewer.session.open_job import open_sculpt
from composer.viewer.session.painting import Painting
from composer.viewer.session.stage import Stage, weight_words
from composer.viewer.session.trying import Trying
from composer.viewer.tools.desk import Desk, GaugeReading
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

HEADER, STRIP, LIST, SPLIT, BAR = 46.0, 232.0, 250.0, 6.0, 44.0
LEAST_VIEW = 300.0
FIXED = (
    imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
    | imgui.WindowFlags_.no_bring_to_front_on_focus
)  # fmt: skip


@dataclass
class Screen:
    """The panels of one window, each with what it remembers from frame to frame."""

    welcome: Welcome = field(default_factory=Welcome)
    tray: Tray = field(default_factory=Tray)
    board: Board = field(default_factory=Board)
    recipes: Recipes = field(default_factory=Recipes)
    regions: RegionList = field(default_factory=RegionList)
    bake: Bake = field(default_factory=Bake)
    sheets: Sheets = field(default_factory=Sheets)
    match: MatchSheet = field(default_factory=MatchSheet)
    keys: KeySheet = field(default_factory=KeySheet)
    trying: Trying = field(default_factory=Trying)
    painting: Painting = field(default_factory=Painting)
    gauge: GaugeReading = field(default_factory=GaugeReading)
    new_head: NewHeadPanel = field(default_factory=NewHeadPanel)
    findings: Findings = field(default_factory=Findings)
    fitting: Fitting = field(default_factory=Fitting)

    def fresh(self) -> None:
        """Another document is open: what was tried, painted and fitted on the old one is forgotten."""
        self.trying, self.painting, self.findings = Trying(), Painting(), Findings()
        self.bake, self.fitting = Bake(suffix=self.bake.suffix, unit=self.bake.unit), Fitting()
        self.board.drag = self.board.typing = None

    def desk(self, stage: Stage) -> Desk:
        """What tools work with now."""
        return Desk(stage, self.trying, self.painting, self.fitting, self.gauge)

    def measure(self, stage: Stage, kit: Kit) -> None:
        """Where the view lies in the window, given the sizes of the panels about it."""
        display, px = imgui.get_io().display_size, kit.px
        left = px(STRIP if stage.place == "mix" else LIST)
        right = px({"mix": stage.settings.tray_px, "marks": 0.0}.get(stage.place, LIST))
        foot = px(stage.settings.board_px) if stage.place == "mix" else 0.0
        right = min(right, max(display.x - left - px(LEAST_VIEW), px(150)))
        foot = min(foot, max(display.y - px(HEADER) - px(160), px(60)))
        stage.view = (left, px(HEADER), max(display.x - left - right, 1.0), max(display.y - px(HEADER) - foot, 1.0))

    def draw(
        self, stage: Stage, kit: Kit, texture: int | None, shown: Shown, act: Callable[[str], object],
        demo: Callable[[], None], browse: Callable[[], None] | None, has_texture: bool,
    ) -> None:  # fmt: skip
        """Every panel; `texture` is the picture of the head."""
        kit.seen.clear()
        display = imgui.get_io().display_size
        if stage.session is None:
            with _panel("welcome", 0, 0, display.x, display.y, theme.SLATE):
                self.welcome.draw(stage, kit, demo, browse)
            self._over(stage, kit)
            return
        left, top, width, height = stage.view
        if texture is not None:
            ground = imgui.get_background_draw_list()
            ground.add_image(
                imgui.ImTextureRef(texture),
                ImVec2(left, top),
                ImVec2(left + width, top + height),
                ImVec2(0, 1),
                ImVec2(1, 0),
            )
        with _panel("header", 0, 0, display.x, kit.px(HEADER), theme.DEEP, kit.px(8)):
            draw_header(stage, kit, act)
        {"mix": self._mix, "paint": self._paint, "marks": self._marks, "new": self._new}[stage.place](stage, kit)
        if stage.place != "new" or stage.new_head is not None:
            with _over_view(stage, kit.scale):
                draw_viewbar(stage, kit, shown, has_texture)
        self._pointed(stage, kit)
        self._gauge(stage, kit)
        self._over(stage, kit)

    def _mix(self, stage: Stage, kit: Kit) -> None:
        display = imgui.get_io().display_size
        left, top, width, height = stage.view
        with _panel("recipes", 0, top, left, display.y - top):
            self.recipes.draw(stage, kit, self.trying)
        with _panel("tray", left + width, top, display.x - left - width, display.y - top):
            self.tray.draw(stage, kit)
        with _panel("board", left, top + height, width, display.y - top - height):
            draw_board(stage, kit, self.board)
        tray = _split(kit, "tray split", left + width - kit.px(SPLIT / 2), top, kit.px(SPLIT), display.y - top, True)
        board = _split(kit, "board split", left, top + height - kit.px(SPLIT / 2), width, kit.px(SPLIT), False)
        stage.settings.tray_px = int(min(max(stage.settings.tray_px - tray / kit.scale, 180), 900))
        stage.settings.board_px = int(min(max(stage.settings.board_px - board / kit.scale, 120), 900))

    def _paint(self, stage: Stage, kit: Kit) -> None:
        display = imgui.get_io().display_size
        left, top, width, _ = stage.view
        with _panel("region list", 0, top, left, display.y - top):
            self.regions.draw(stage, kit)
        with _panel("brush", left + width, top, display.x - left - width, display.y - top):
            draw_brush(stage, kit, self.painting)

    def _marks(self, stage: Stage, kit: Kit) -> None:
        display = imgui.get_io().display_size
        left, top, _, _ = stage.view
        with _panel("mark list", 0, top, left, display.y - top):
            draw_marks(stage, kit)

    def _new(self, stage: Stage, kit: Kit) -> None:
        display = imgui.get_io().display_size
        left, top, width, _ = stage.view
        with _panel("new marks", 0, top, left, display.y - top):
            self.new_head.draw_marks(stage, kit)
        with _panel("new steps", left + width, top, display.x - left - width, display.y - top):
            steps = lambda kit: draw_fit_steps(stage, kit, self.fitting)  # noqa: E731
            self.new_head.draw_steps(stage, kit, lambda path: open_sculpt(stage, path), steps)

    def _over(self, stage: Stage, kit: Kit) -> None:
        """What lies over everything: sheets, words, the carried picture."""
        display = imgui.get_io().display_size
        if stage.session is not None:
            self.findings.draw(stage, kit)
        if stage.dialogs.match and stage.session is not None:
            self.match.draw(stage, kit, self.tray.names(stage))
        self.bake.draw(stage, kit)
        self.keys.draw(stage, kit)
        self.sheets.draw(stage, kit)
        left, top, width, height = stage.view if stage.session else (0.0, 0.0, display.x, display.y)
        draw_words(stage, kit, top + height - kit.px(12), left + width / 2)
        carried_ghost(stage, kit)
        kit.wants_menu = False

    def _pointed(self, stage: Stage, kit: Kit) -> None:
        """The name of the region under the pointer, or of the landmark, beside it."""
        if self.gauge.key is not None or self.painting.stroking or not stage.in_view(*stage.pointer):
            return
        words = stage.pointed
        if not words:
            return
        draw, x, y = imgui.get_foreground_draw_list(), stage.pointer[0] + kit.px(16), stage.pointer[1] - kit.px(26)
        label(kit, draw, words, x, y)

    def _gauge(self, stage: Stage, kit: Kit) -> None:
        """The gauge: a column of water beside the pointer, a mark where the weight was, the number above."""
        gauge = self.gauge
        if gauge.key is None:
            return
        draw, high, wide = imgui.get_foreground_draw_list(), kit.px(150), kit.px(16)
        outer = 1.0 if gauge.x >= stage.view[0] + stage.view[2] / 2 else -1.0
        x, y = gauge.x + outer * kit.px(44) - wide / 2, gauge.y - high * 0.5
        base = y + high
        low, top = min(gauge.weight, 0.0), max(gauge.weight, 0.0)
        one = high / max(1.0, abs(gauge.weight))
        if low < 0:
            base = y + high * (0.75 if gauge.weight > -0.5 else 0.4)
            one = (high - (base - y)) if abs(low) <= 1.0 else (high - (base - y)) / abs(low)
        draw.add_rect_filled(
            ImVec2(x - kit.px(4), y - kit.px(4)),
            ImVec2(x + wide + kit.px(4), y + high + kit.px(4)),
            u32(theme.DEEP, 0.85),
            kit.px(12),
        )
        draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.RAISED), kit.px(8))
        colour = theme.TIDE if gauge.weight >= 0 else theme.CORAL
        draw.add_rect_filled(ImVec2(x, base - top * one), ImVec2(x + wide, base - low * one), u32(colour), kit.px(8))
        was = base - gauge.before * one
        if y <= was <= y + high:
            draw.add_line(ImVec2(x - kit.px(3), was), ImVec2(x + wide + kit.px(3), was), u32(theme.SAND), kit.px(2))
        region, shape, mirrored = gauge.key
        words = f"{weight_words(gauge.weight)}   {region} × {shape}" + (" mirrored" if mirrored else "")
        length = imgui.calc_text_size(kit.fit(words, kit.px(340))).x
        left = x + wide + kit.px(14) if outer > 0 else x - kit.px(14) - length
        label(kit, draw, words, left, base - top * one - kit.px(12))


def label(kit: Kit, draw: imgui.ImDrawList, words: str, x: float, y: float) -> None:
    """Words on a small dark ground."""
    words = kit.fit(words, kit.px(340))
    size = imgui.calc_text_size(words)
    draw.add_rect_filled(
        ImVec2(x - kit.px(7), y - kit.px(3)),
        ImVec2(x + size.x + kit.px(7), y + size.y + kit.px(4)),
        u32(theme.DEEP, 0.9),
        kit.px(6),
    )
    draw.add_text(ImVec2(x, y), u32(theme.TEXT), words)


@contextmanager
def _panel(  # type: ignore[no-untyped-def]
    name: str, x: float, y: float, wide: float, high: float, ground: theme.Ink = theme.SLATE, pad: float | None = None
):
    imgui.set_next_window_pos(ImVec2(x, y))
    imgui.set_next_window_size(ImVec2(max(wide, 1.0), max(high, 1.0)))
    imgui.push_style_color(imgui.Col_.window_bg, theme.vec4(ground))
    if pad is not None:
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(pad * 1.5, pad))
    imgui.begin(name, None, FIXED)
    if pad is not None:
        imgui.pop_style_var()
    try:
        yield
    finally:
        imgui.end()
        imgui.pop_style_color()


@contextmanager
def _over_view(stage: Stage, scale: float):  # type: ignore[no-untyped-def]
    """A strip without a ground along the top of the view."""
    left, top, width, height = stage.view
    imgui.set_next_window_pos(ImVec2(left, top))
    lines = 1.0 if width >= ONE_LINE * scale else 1.7
    imgui.set_next_window_size(ImVec2(width, min(BAR * scale * lines, height)))
    flags = FIXED | imgui.WindowFlags_.no_background | imgui.WindowFlags_.no_scroll_with_mouse
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
    imgui.begin("over view", None, flags)
    imgui.pop_style_var()
    try:
        yield
    finally:
        imgui.end()


def _split(kit: Kit, name: str, x: float, y: float, wide: float, high: float, across: bool) -> float:
    """A strip between two panels that can be dragged; how far it went in this frame."""
    imgui.set_next_window_pos(ImVec2(x, y))
    imgui.set_next_window_size(ImVec2(wide, high))
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(0, 0))
    imgui.push_style_var(imgui.StyleVar_.window_min_size, ImVec2(1, 1))
    flags = imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.no_move | imgui.WindowFlags_.no_saved_settings
    imgui.begin(name, None, flags | imgui.WindowFlags_.no_background | imgui.WindowFlags_.no_nav)
    imgui.invisible_button(name, ImVec2(wide, high))
    kit.mark(name)
    moved = 0.0
    if imgui.is_item_hovered() or imgui.is_item_active():
        imgui.set_mouse_cursor(imgui.MouseCursor_.resize_ew if across else imgui.MouseCursor_.resize_ns)
        draw = imgui.get_window_draw_list()
        draw.add_rect_filled(ImVec2(x, y), ImVec2(x + wide, y + high), u32(theme.SAND, 0.55))
    if imgui.is_item_active():
        delta = imgui.get_io().mouse_delta
        moved = delta.x if across else delta.y
    imgui.end()
    imgui.pop_style_var(2)
    return moved
