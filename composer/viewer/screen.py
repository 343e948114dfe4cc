"""One frame of panels: where each of them lies, and what of the head is drawn between them."""

from __future__ import annotations

from collections.abc import Callable

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.beside_pointer import draw_gauge, draw_pointed, draw_pull, draw_reach
from composer.viewer.panels.header import draw_header
from composer.viewer.panels.memory import Panels
from composer.viewer.panels.registry import PANELS, SHEETS
from composer.viewer.panels.tray import carried_ghost
from composer.viewer.panels.viewbar import ONE_LINE, draw_viewbar, legend_height
from composer.viewer.panels.words import draw_words
from composer.viewer.scene.overlay import Shown
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.frames import panel, splitter, strip_over_view
from composer.viewer.ui.kit import Kit

HEADER, STRIP, LIST, PAIR, SPLIT = 46.0, 232.0, 250.0, 290.0, 6.0
"""Height of the header, widths of the recipes' strip, of a list and of a pair of pictures, thickness of a splitter, in
pixels at scale 1."""
LEAST_VIEW = 300.0
"""Width that the view keeps where there is room for it at all."""
TRAY_PX, BOARD_PX = (180, 900), (120, 900)
"""Least and largest size of the tray and of the board."""


def measure(stage: Stage, kit: Kit) -> None:
    """Where the view lies in the window, given the sizes of the panels about it."""
    display, px = imgui.get_io().display_size, kit.px
    left = px({"mix": STRIP, "new": PAIR}.get(stage.place, LIST))
    right = px({"mix": stage.settings.tray_px, "marks": 0.0}.get(stage.place, LIST))
    foot = px(stage.settings.board_px) if stage.place == "mix" else 0.0
    right = min(right, max(display.x - left - px(LEAST_VIEW), px(150)))
    foot = min(foot, max(display.y - px(HEADER) - px(160), px(60)))
    stage.view = (left, px(HEADER), max(display.x - left - right, 1.0), max(display.y - px(HEADER) - foot, 1.0))


def draw_screen(
    stage: Stage, kit: Kit, panels: Panels, texture: int | None, shown: Shown, act: Callable[[str], object],
    demo: Callable[[], None], browse: Callable[[], None] | None, has_texture: bool,
) -> None:  # fmt: skip
    """Every panel; `texture` is the GL name of the picture of the head."""
    kit.seen.clear()
    display = imgui.get_io().display_size
    if stage.session is None:
        with panel("welcome", 0, 0, display.x, display.y, theme.SLATE):
            panels.welcome.draw(stage, kit, demo, browse)
        _over_everything(stage, kit, panels)
        return
    left, top, width, height = stage.view
    if texture is not None:
        box = ImVec2(left, top), ImVec2(left + width, top + height)
        imgui.get_background_draw_list().add_image(imgui.ImTextureRef(texture), *box, ImVec2(0, 1), ImVec2(1, 0))
    with panel("header", 0, 0, display.x, kit.px(HEADER), theme.DEEP, kit.px(8)):
        draw_header(stage, kit, act)
    boxes = {
        "left": (0.0, top, left, display.y - top),
        "right": (left + width, top, display.x - left - width, display.y - top),
        "foot": (left, top + height, width, display.y - top - height),
    }
    place = stage.place
    for each in PANELS:
        if each.place == place:
            with panel(each.name, *boxes[each.side]):
                each.draw(stage, kit, panels)
    if place == "mix":
        _splitters(stage, kit)
    if stage.place != "new" or stage.new_head is not None:
        with strip_over_view(stage.view, kit.scale, ONE_LINE):
            draw_viewbar(stage, kit, shown, has_texture)
    if panels.gauge.key is None:
        draw_pointed(stage, kit)
        draw_reach(stage, kit, panels.fitting)
    draw_gauge(stage, kit, panels.gauge)
    draw_pull(kit, panels.pulling)
    _over_everything(stage, kit, panels, legend_height(shown) if stage.place != "new" or stage.new_head else 0.0)


def _splitters(stage: Stage, kit: Kit) -> None:
    """The edges of the tray and of the board, which can be dragged."""
    display, settings = imgui.get_io().display_size, stage.settings
    left, top, width, height = stage.view
    thick = kit.px(SPLIT)
    tray = splitter(kit, "tray split", left + width - thick / 2, top, thick, display.y - top, True)
    board = splitter(kit, "board split", left, top + height - thick / 2, width, thick, False)
    settings.tray_px = int(min(max(settings.tray_px - tray / kit.scale, TRAY_PX[0]), TRAY_PX[1]))
    settings.board_px = int(min(max(settings.board_px - board / kit.scale, BOARD_PX[0]), BOARD_PX[1]))


def _over_everything(stage: Stage, kit: Kit, panels: Panels, legend: float = 0.0) -> None:
    """Sheets, words, the carried picture. Words stand above a legend of this height, at scale 1."""
    display = imgui.get_io().display_size
    for sheet in SHEETS:
        if stage.session is not None or not sheet.needs_document:
            sheet.draw(stage, kit, panels)
    left, top, width, height = stage.view if stage.session else (0.0, 0.0, display.x, display.y)
    draw_words(stage, kit, top + height - kit.px(12 + legend), left + width / 2)
    carried_ghost(stage, kit)
    kit.wants_menu = False
