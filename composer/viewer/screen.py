"""One frame of panels: where each of them lies, and what of the head is drawn between them."""

from __future__ import annotations

from collections.abc import Callable

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.beside_pointer import draw_gauge, draw_pointed, draw_pull, draw_reach
from composer.viewer.panels.compare import draw_compared
from composer.viewer.panels.header import draw_header
from composer.viewer.panels.memory import Panels
from composer.viewer.panels.reference_menu import draw_placing
from composer.viewer.panels.registry import PANELS, SHEETS, Panel, sides_of
from composer.viewer.panels.time_strip.lane import draw_ghosts
from composer.viewer.panels.tray import carried_ghost
from composer.viewer.panels.viewbar import ONE_LINE, draw_viewbar, legend_height
from composer.viewer.panels.words import draw_words
from composer.viewer.scene.overlay import Shown
from composer.viewer.session.folding import fold
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.frames import edge, folded, panel, strip_over_view
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.room import LEAST, MOST, most_for, room_for, usual

HEADER, EDGE = 46.0, 6.0
"""Height of the header, thickness of the edge of a panel, in pixels at scale 1."""
USUAL = {"mix left": 232.0, "mix right": 300.0, "mix foot": 250.0, "new left": 290.0, "new right": 250.0}
TAB_ORDER = ["header", "left", "over view", "time", "foot", "right"]
"""The order in which Tab goes from panel to panel."""
TIME, LOW_TIME, LOW = 108.0, 86.0, 700.0
"""Height of the strip of time, the same in a window that is lower than `LOW`, in pixels at scale 1."""
LIST = 250.0
"""Sizes of panels that nobody has dragged, on a window of 1280 x 800 at scale 1; a list where nothing is said."""


def measure(stage: Stage, kit: Kit) -> None:
    """Where the view lies in the window, and how much room the panels about it get."""
    display, settings = imgui.get_io().display_size, stage.settings
    wanted, shut = {}, set()
    for side in sides_of(stage):
        name = f"{stage.place} {side}"
        asked, most = settings.panels.get(name), MOST * (display.y if side == "foot" else display.x)
        size = kit.px(asked) if asked else usual(side, display.x, display.y, kit.scale, USUAL.get(name, LIST))
        wanted[side] = min(max(size, kit.px(LEAST[side])), max(most, kit.px(LEAST[side])))
        asked_for = name == "mix right" and stage.dialogs.findings
        if name in settings.folded and not asked_for:
            shut.add(side)
    room = room_for((display.x, display.y), kit.px(HEADER), wanted, frozenset(shut), kit.scale, stage.asked_side)
    stage.room = room
    wide = display.x - room.left - room.right
    high = display.y - kit.px(HEADER) - room.foot - time_height(stage, kit)
    stage.whole_view = (room.left, kit.px(HEADER), max(wide, 1.0), max(high, 1.0))
    beside = stage.place == "mix" and stage.compare.how == "side"
    stage.view = (room.left, kit.px(HEADER), max(wide / 2 if beside else wide, 1.0), max(high, 1.0))


def time_height(stage: Stage, kit: Kit) -> float:
    """The height of the strip of time under the view, in points; 0 where it is put away."""
    if not stage.time_shown or stage.place != "mix":
        return 0.0
    return kit.px(LOW_TIME if imgui.get_io().display_size.y < kit.px(LOW) else TIME)


def draw_screen(
    stage: Stage, kit: Kit, panels: Panels, texture: int | None, other: int | None, shown: Shown,
    act: Callable[[str], object], demo: Callable[[], None], browse: Callable[[], None] | None, has_texture: bool,
) -> None:  # fmt: skip
    """Every panel; `texture` is the GL name of the picture of the head, `other` that of what it is compared with."""
    kit.seen.clear()
    kit.grid = None
    kit.stops.begin()
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
        draw_compared(stage, kit, other)
        draw_ghosts(stage, kit)
        draw_placing(stage, kit)
    left, top, width, height = stage.whole_view
    kit.stops.panel = "header"
    with panel("header", 0, 0, display.x, kit.px(HEADER), theme.DEEP, kit.px(8)):
        draw_header(stage, kit, act, panels.steps)
    strip = time_height(stage, kit)
    boxes = {
        "left": (0.0, top, left, display.y - top),
        "right": (left + width, top, display.x - left - width, display.y - top),
        "foot": (left, top + height + strip, width, display.y - top - height - strip),
    }
    place = stage.place
    for each in PANELS:
        if each.place == place and each.side not in stage.room.folded:
            kit.stops.panel = each.side
            with panel(each.name, *boxes[each.side]):
                each.draw(stage, kit, panels)
    if strip:
        kit.stops.panel = "time"
        with panel("time strip", left, top + height, width, strip, pad=kit.px(7)):
            panels.time_panel.draw(stage, kit, panels.time)
    kit.stops.panel = "over view"
    if stage.place != "new" or stage.new_head is not None:
        with strip_over_view(stage.whole_view, kit.scale, ONE_LINE):
            draw_viewbar(stage, kit, shown, has_texture, panels.views, panels.references)
    if panels.gauge.key is None:
        draw_pointed(stage, kit)
        draw_reach(stage, kit, panels.fitting)
    kit.stops.panel = ""
    for each in PANELS:
        if each.place == place:
            _edge(stage, kit, each, boxes[each.side])
    draw_gauge(stage, kit, panels.gauge)
    draw_pull(kit, panels.pulling)
    _over_everything(stage, kit, panels, legend_height(shown) if stage.place != "new" or stage.new_head else 0.0)


def _edge(stage: Stage, kit: Kit, panel: Panel, box: tuple[float, float, float, float]) -> None:
    """The edge of a panel: dragged it changes the panel's size, its tab folds it."""
    display, thick = imgui.get_io().display_size, kit.px(EDGE)
    x, y, wide, high = box
    side, name = panel.side, f"{panel.place} {panel.side}"
    if side in stage.room.folded:
        if folded(kit, side, panel.name, box, f"show the {panel.name}"):
            fold(stage, side)
        return
    line = {"left": (x + wide - thick / 2, y, thick, high), "right": (x - thick / 2, y, thick, high),
            "foot": (x, y - thick / 2, wide, thick)}[side]  # fmt: skip
    moved, pressed = edge(kit, side, panel.name, line, f"fold the {panel.name} away")
    if pressed:
        fold(stage, side)
    elif moved:
        size = stage.room.of(side) + (moved if side == "left" else -moved)
        sides = frozenset(sides_of(stage))
        most = most_for(side, (display.x, display.y), kit.px(HEADER), sides, stage.room.folded - {side}, kit.scale)
        stage.asked_side = side
        stage.settings.panels[name] = round(min(max(size, kit.px(LEAST[side])), most) / kit.scale)


def _over_everything(stage: Stage, kit: Kit, panels: Panels, legend: float = 0.0) -> None:
    """Sheets, words, the carried picture. Words stand above a legend of this height, at scale 1."""
    display = imgui.get_io().display_size
    for sheet in SHEETS:
        if stage.session is not None or not sheet.needs_document:
            sheet.draw(stage, kit, panels)
    left, top, width, height = stage.whole_view if stage.session else (0.0, 0.0, display.x, display.y)
    draw_words(stage, kit, top + height - kit.px(12 + legend), left + width / 2)
    carried_ghost(stage, kit)
    kit.wants_menu = False
