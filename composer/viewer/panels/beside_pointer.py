"""What stands beside the pointer: the name of what is under it, and the gauge of a weight that is being turned."""

from __future__ import annotations

import math

from imgui_bundle import ImVec2, imgui

from composer.viewer.session.fitting import Fitting
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.tools.desk import GaugeReading, PullReading
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def draw_pointed(stage: Stage, kit: Kit) -> None:
    """The name of the region under the pointer, or of the landmark, beside it."""
    if not stage.in_view(*stage.pointer):
        return
    words = stage.pointed
    if not words:
        return
    draw, x, y = imgui.get_foreground_draw_list(), stage.pointer[0] + kit.px(16), stage.pointer[1] - kit.px(26)
    _label(kit, draw, words, x, y)


def draw_reach(stage: Stage, kit: Kit, fitting: Fitting) -> None:
    """The radius of a grip or a brush on a fitted library, as a ring about the pointer."""
    if stage.place != "new" or stage.eye is None or not (fitting.gripping or fitting.brushing):
        return
    if stage.hit is None or not stage.in_view(*stage.pointer):
        return
    mm = stage.eye.pixel_mm(stage.view[3]) * stage.hit.distance / max(stage.eye.distance, 1e-9)
    draw, middle, radius = imgui.get_background_draw_list(), ImVec2(*stage.pointer), fitting.radius_mm / max(mm, 1e-9)
    draw.add_circle(middle, radius, u32(theme.DARK, 0.6), 64, kit.px(3))
    draw.add_circle(middle, radius, u32(theme.CORAL if fitting.erasing else theme.TEXT), 64, kit.px(1.4))


def draw_gauge(stage: Stage, kit: Kit, gauge: GaugeReading) -> None:
    """Draw the gauge: a column filled to the weight, a mark at the weight before, the number above."""
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
    words_x = x + wide + kit.px(14) if outer > 0 else x - kit.px(14) - length
    _label(kit, draw, words, words_x, base - top * one - kit.px(12))


def draw_pull(kit: Kit, pulling: PullReading) -> None:
    """Draw the place that is pulled: a dot where it came to lie and, where it does not arrive, a ring at the pointer
    with the rest of the way between them and how much of it is missing."""
    if not pulling.held:
        return
    draw = imgui.get_foreground_draw_list()
    reached, goal = ImVec2(*pulling.reached), ImVec2(*pulling.goal)
    draw.add_circle_filled(reached, kit.px(4.5), u32(theme.DEEP, 0.9))
    draw.add_circle_filled(reached, kit.px(3), u32(theme.TIDE))
    if not pulling.words:
        return
    long = max(math.hypot(goal.x - reached.x, goal.y - reached.y), 1e-6)
    along = ((goal.x - reached.x) / long, (goal.y - reached.y) / long)
    at, end, dash = kit.px(7), long - kit.px(8), kit.px(5)
    while at < end:
        stop = min(at + dash, end)
        draw.add_line(
            ImVec2(reached.x + along[0] * at, reached.y + along[1] * at),
            ImVec2(reached.x + along[0] * stop, reached.y + along[1] * stop), u32(theme.SAND), kit.px(1.5),
        )  # fmt: skip
        at += 2 * dash
    draw.add_circle(goal, kit.px(7), u32(theme.DEEP, 0.9), 0, kit.px(4))
    draw.add_circle(goal, kit.px(7), u32(theme.SAND), 0, kit.px(2))
    _label(kit, draw, pulling.words, goal.x + kit.px(16), goal.y - kit.px(26))


def _label(kit: Kit, draw: imgui.ImDrawList, words: str, x: float, y: float) -> None:
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
