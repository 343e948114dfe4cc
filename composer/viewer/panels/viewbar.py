"""What lies over the head: from where it is looked at, what is laid over it, which parts are shown, and a legend."""

from __future__ import annotations

import numpy as np
from imgui_bundle import ImVec2, imgui

from composer.picture.letter_order import as_drawn
from composer.picture.palette import viridis
from composer.viewer.panels.compare import compare_menu
from composer.viewer.panels.light_menu import lights
from composer.viewer.panels.reference_menu import ReferenceMenu
from composer.viewer.panels.swatch import swatch
from composer.viewer.panels.views_menu import ViewsMenu
from composer.viewer.scene.overlay import Shown
from composer.viewer.session.looking import frame_region, look_from
from composer.viewer.session.places import OVERLAYS, VIEWS
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.keys import ACTIONS
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

BONE = theme.ink(0xD9D0BF)
"""What a scale both ways has in its middle: skin without a colour."""
CLOSE_UP, VIEWS_KEPT = "Close up", "Views"
ONE_LINE = 850.0
"""Width of a view from which on all of its buttons stand in one line."""


def draw_viewbar(
    stage: Stage, kit: Kit, shown: Shown, has_texture: bool, kept: ViewsMenu, references: ReferenceMenu
) -> None:
    """Buttons along the top of the view, and the legend at its lower left."""
    left, top, width, height = stage.whole_view
    views = VIEWS | ({"three_quarter": "¾"} if width < kit.px(940) else {})
    gap, usual = kit.px(3), imgui.get_style().frame_padding
    words = sum(kit.wide(each) + gap for each in (*views.values(), CLOSE_UP, VIEWS_KEPT))
    room = (width - kit.px(20) - words) / (2 * (len(views) + 2))
    imgui.set_cursor_screen_pos(ImVec2(left + kit.px(10), top + kit.px(10)))
    imgui.push_style_var(imgui.StyleVar_.frame_padding, ImVec2(min(max(room, kit.px(2)), usual.x), usual.y))
    for name, each in views.items():
        if kit.button(each, ACTIONS[name].words, name, name=f"view {name}"):
            look_from(stage, name)
        imgui.same_line(0, gap)
    if kit.button(CLOSE_UP, "look closely at the chosen region", "frame", name="frame region"):
        frame_region(stage)
    if stage.place != "new":
        imgui.same_line(0, gap)
        kept.draw(stage, kit, references)
    imgui.pop_style_var()
    if stage.place != "new":
        _looks(stage, kit, has_texture)
    if shown.legend is not None:
        _legend(kit, shown, left + kit.px(14), top + height - kit.px(64))
    elif shown.numbers:
        _numbers(stage, kit, shown)
    if shown.swatches:
        _swatches(kit, shown, left + kit.px(14), top + height - kit.px(14 if shown.legend is None else 78))


def legend_height(shown: Shown) -> float:
    """How far legends reach up from the foot of the view, in pixels at scale 1."""
    return (64.0 if shown.legend is not None else 0.0) + (14.0 + 22.0 * len(shown.swatches) if shown.swatches else 0.0)


def _looks(stage: Stage, kit: Kit, has_texture: bool) -> None:
    """What is laid over the head, its cage, its parts: at the right end of the line."""
    left, top, width, _ = stage.whole_view
    names = {name: words for name, (words, _) in stage.overlays(has_texture).items()}
    pad, box = 2 * imgui.get_style().frame_padding.x, kit.px(98 if width < kit.px(860) else 118)
    rest = ["Edges", "Parts", *(["Compare", "Time"] if stage.place == "mix" else [])]
    others = sum(kit.wide(words) + pad + kit.px(3) for words in rest)
    down = kit.px(10 if width >= kit.px(ONE_LINE) else 40)
    imgui.set_cursor_screen_pos(ImVec2(left + width - box - others - kit.px(12), top + down))
    imgui.set_next_item_width(box)
    if imgui.begin_combo(
        "##overlay",
        names.get("mask" if stage.place == "paint" and stage.overlay == "none" else stage.overlay, "Plain"),
        imgui.ComboFlags_.height_largest,
    ):
        for name, words in names.items():
            if imgui.selectable(words, name == stage.overlay)[0]:
                stage.overlay = name
            kit.mark(f"overlay {name}")
            kit.tip(OVERLAYS[name][1])
        lights(stage, kit)
        imgui.end_combo()
    kit.mark("overlay")
    kit.tip("colours over the head, and its light", "overlay")
    imgui.same_line(0, kit.px(3))
    if kit.button("Edges", "show the edges of the coarse head", "cage", on=stage.wire, name="Cage"):
        stage.wire = not stage.wire
    imgui.same_line(0, kit.px(3))
    if kit.button("Parts", "hide parts, or show one alone", on=bool(stage.hidden)):
        imgui.open_popup("parts")
    _parts(stage, kit)
    if stage.place == "mix":
        imgui.same_line(0, kit.px(3))
        hint = "the neutral, the target or another recipe as a ghost, behind a wipe, or side by side"
        if kit.button("Compare", hint, on=stage.compare.how != "off"):
            imgui.open_popup("compare")
        compare_menu(stage, kit)
        imgui.same_line(0, kit.px(3))
        if kit.button("Time", "the strip of time: clips, played and keyed", "time", on=stage.time_shown):
            stage.time_shown = not stage.time_shown


def _parts(stage: Stage, kit: Kit) -> None:
    session = stage.opened
    if not imgui.begin_popup("parts"):
        return
    names = ["skin", *(part.name for part in session.head.parts)]
    for name in names:
        _, on = imgui.checkbox(name.replace("_", " "), name not in stage.hidden)
        kit.mark(f"part {name}")
        if on == (name in stage.hidden):
            stage.hide_part(name)
        imgui.same_line(kit.px(180))
        if imgui.small_button(f"alone##{name}"):
            stage.alone(name, names)
        kit.mark(f"alone {name}")
    imgui.end_popup()


def _legend(kit: Kit, shown: Shown, x: float, y: float) -> None:
    scale = shown.legend
    assert scale is not None
    draw, high = imgui.get_background_draw_list(), kit.px(10)
    wide = kit.px(250 if scale.two_ways else 190)
    draw.add_rect_filled(
        ImVec2(x - kit.px(8), y - kit.px(6)),
        ImVec2(x + wide + kit.px(8), y + kit.px(50)),
        u32(theme.SLATE, 0.86),
        kit.px(6),
    )
    draw.add_text(ImVec2(x, y - kit.px(2)), u32(theme.TEXT), as_drawn(scale.words))
    steps = 24
    if scale.two_ways:
        draw.add_rect_filled(ImVec2(x, y + kit.px(18)), ImVec2(x + wide, y + kit.px(18) + high), u32(BONE))
        colours = scale.colours(np.linspace(scale.low, scale.high, steps))
    else:
        colours = np.column_stack([viridis(np.linspace(0.0, 1.0, steps)), np.ones(steps)])
    for i, colour in enumerate(colours):
        a, b = x + wide * i / steps, x + wide * (i + 1) / steps
        ink = (float(colour[0]), float(colour[1]), float(colour[2]), float(colour[3]))
        end = ImVec2(b if scale.two_ways else b + 0.5, y + kit.px(18) + high)
        draw.add_rect_filled(ImVec2(a, y + kit.px(18)), end, u32(ink))
    for share, amount in ((0.0, scale.low), (0.5, 0.5 * (scale.low + scale.high)), (1.0, scale.high)):
        words = scale.number(amount)
        size = imgui.calc_text_size(words).x * 0.87
        draw.add_text(
            kit.faces.plain, theme.TEXT_SIZE * 0.87 * kit.scale, ImVec2(x + (wide - size) * share, y + kit.px(31)),
            u32(theme.QUIET), words,
        )  # fmt: skip


def _swatches(kit: Kit, shown: Shown, x: float, foot: float) -> None:
    """Plain colours with their words, one below the other, up from `foot`."""
    draw, tall, side = imgui.get_background_draw_list(), kit.px(22), kit.px(12)
    wide = max(imgui.calc_text_size(words).x for _, words in shown.swatches) + kit.px(22)
    top = foot - tall * len(shown.swatches)
    low, high = ImVec2(x - kit.px(8), top - kit.px(6)), ImVec2(x + wide + kit.px(8), foot + kit.px(2))
    draw.add_rect_filled(low, high, u32(theme.SLATE, 0.86), kit.px(6))
    for number, ((red, green, blue), words) in enumerate(shown.swatches):
        y = top + tall * number
        ink = (red / 255.0, green / 255.0, blue / 255.0, 1.0)
        box = ImVec2(x, y + kit.px(2)), ImVec2(x + side, y + kit.px(2) + side)
        draw.add_rect_filled(*box, u32(ink), kit.px(3))
        draw.add_text(ImVec2(x + kit.px(20), y), u32(theme.TEXT), words)


def _numbers(stage: Stage, kit: Kit, shown: Shown) -> None:
    """Each region's number where it lies on the head, seen from here."""
    assert stage.session is not None
    signs = stage.session.signs
    for name, (x, y) in shown.numbers.items():
        left, top, width, height = stage.view
        if left < x < left + width and top < y < top + height:
            swatch(kit, signs[name], x, y, imgui.get_background_draw_list())
