"""The keys of a clip in the lane, the curve of the chosen cell, and what the pointer finds there."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from imgui_bundle import ImVec2, imgui

from composer.document.evaluated_clip import EvaluatedClip
from composer.mixing.clip import NEUTRAL, Key
from composer.mixing.recipe import CellKey
from composer.viewer.panels.time_strip.lane import SCALE, Lane, colour_of, words_of
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

FACE, DROP, NEAR, BAR = 11.0, 4.5, 4.0, 5.0
"""Radius of a key's picture and of a drop, how far beside them they are still found, and height of the bar over what
is picked, in pixels at scale 1."""


@dataclass
class Laid:
    """Where things of the lane lie in one frame: each key's middle and radius, and the bar over what is picked (left,
    right, height) with the times of its ends."""

    places: dict[Key, tuple[float, float, float]] = field(default_factory=dict)
    bar: tuple[float, float, float, float, float] | None = None
    curve: CellKey | None = None
    low: float = 0.0
    high: float = 1.0

    def key_at(self, x: float, y: float, more: float) -> Key | None:
        """The key under a place, the last drawn first."""
        for key, (kx, ky, r) in reversed(self.places.items()):
            if (x - kx) ** 2 + (y - ky) ** 2 <= (r + more) ** 2:
                return key
        return None

    def grip_at(self, x: float, y: float, near: float) -> tuple[float, float] | None:
        """The end of the bar under a place: the time that it moves, and the one that stays."""
        if self.bar is None:
            return None
        left, right, height, first, last = self.bar
        if abs(y - height) > near + 2:
            return None
        return (first, last) if abs(x - left) <= near else (last, first) if abs(x - right) <= near else None


def chosen_cell(stage: Stage, strip: TimeStrip, made: EvaluatedClip) -> CellKey | None:
    """The cell whose curve is shown: that of the one picked key, else the one chosen on the board, where the clip has
    it."""
    if len(strip.picked) == 1:
        (key,) = strip.picked
        if key.cell is not None:
            return key.cell
    session = stage.opened
    here = [key for key in made.cells if key[:2] == (session.region, session.shape)]
    return here[0] if here else None


def draw_keys(stage: Stage, kit: Kit, lane: Lane, strip: TimeStrip, made: EvaluatedClip) -> Laid:
    """The curve, then every key, the picked ones last; where all of it lies."""
    laid = Laid(curve=chosen_cell(stage, strip, made))
    _curve(stage, kit, lane, made, laid)
    keys = sorted(made.clip.keys, key=lambda key: (key in strip.picked, key.recipe != "", key.time))
    for key in keys:
        _key(stage, kit, lane, strip, key, laid)
        x, y, r = laid.places[key]
        kit.seen[f"key {made.clip.keys.index(key)}"] = (x - r, y - r, x + r, y + r)
    _bar(kit, lane, strip, laid)
    return laid


def hint_of(kit: Kit, key: Key) -> None:
    """What a key says, beside the pointer."""
    with kit.hint():
        kit.text(words_of(key))
        kit.quiet("drag: its time; Ctrl and drag: a copy; right click: more")


def height_of(kit: Kit, lane: Lane, laid: Laid, weight: float) -> float:
    """How high a weight lies on the curve's scale."""
    top, foot = lane.top + kit.px(SCALE + 4), lane.foot - kit.px(5)
    return foot - (foot - top) * (weight - laid.low) / max(laid.high - laid.low, 1e-9)


def weight_at(kit: Kit, lane: Lane, laid: Laid, y: float) -> float:
    """The weight at a height, as `height_of`."""
    top, foot = lane.top + kit.px(SCALE + 4), lane.foot - kit.px(5)
    return laid.low + (laid.high - laid.low) * (foot - y) / max(foot - top, 1e-9)


def _curve(stage: Stage, kit: Kit, lane: Lane, made: EvaluatedClip, laid: Laid) -> None:
    if laid.curve is None or laid.curve not in made.cells:
        return
    values = made.weights[:, made.cells.index(laid.curve)]
    own = [key.weight for key in made.clip.keys if key.cell == laid.curve and key.weight is not None]
    laid.low = min(0.0, float(values.min()), *own)
    laid.high = max(1.0, float(values.max()), *own)
    count = max(min(len(values), int(lane.right - lane.left)), 2)
    numbers = np.unique(np.linspace(0, len(values) - 1, count).astype(int))
    line: list[Any] = [
        ImVec2(lane.x(float(made.times[i])), height_of(kit, lane, laid, float(values[i]))) for i in numbers
    ]
    ink = colour_of(stage, Key(0.0, region=laid.curve[0], shape=laid.curve[1], weight=0.0))
    draw = imgui.get_window_draw_list()
    draw.add_polyline(line, u32(theme.WELL, 0.9), kit.px(4), 0)
    draw.add_polyline(line, u32(ink), kit.px(2), 0)


def draw_curve_words(stage: Stage, kit: Kit, lane: Lane, made: EvaluatedClip, laid: Laid, frame: int) -> None:
    """Which cell the curve is of, and its weight where time stands; else what is drawn in its place."""
    if laid.curve is None or laid.curve not in made.cells:
        words, ink = "all weights together", theme.QUIET
    else:
        weight = float(made.weights[frame, made.cells.index(laid.curve)])
        words, ink = f"{laid.curve[0]} × {laid.curve[1]}  {weight_words(weight)}", theme.TEXT
    size, draw = kit.px(12), imgui.get_window_draw_list()
    words = kit.fit(words, 0.6 * (lane.right - lane.left))
    wide = imgui.calc_text_size(words).x * size / imgui.get_font_size()
    at = ImVec2(lane.right - wide, lane.top + kit.px(SCALE + 2))
    low, high = ImVec2(at.x - kit.px(5), at.y - kit.px(1)), ImVec2(at.x + wide + kit.px(5), at.y + size + kit.px(3))
    draw.add_rect_filled(low, high, u32(theme.WELL, 0.85), kit.px(4))
    draw.add_text(kit.faces.plain, size, at, u32(ink), words)


def _key(stage: Stage, kit: Kit, lane: Lane, strip: TimeStrip, key: Key, laid: Laid) -> None:
    """One key, by what it is about."""
    draw, x = imgui.get_window_draw_list(), lane.x(key.time)
    picked = key in strip.picked
    rim = theme.SAND if picked else theme.EDGE
    if key.thing == ("pose",):
        r = min(kit.px(FACE), (lane.foot - lane.top - kit.px(SCALE)) / 2)
        y = lane.top + kit.px(SCALE) + (lane.foot - lane.top - kit.px(SCALE)) / 2
        _face(kit, key, x, y, r)
        draw.add_circle(ImVec2(x, y), r, u32(rim), 28, kit.px(2.4 if picked else 1.2))
        laid.places[key] = (x, y, r)
        return
    r = kit.px(DROP + (1.5 if picked else 0.0))
    on_curve = key.cell is not None and key.cell == laid.curve
    y = height_of(kit, lane, laid, key.weight or 0.0) if on_curve else lane.foot - kit.px(DROP + 3)
    ink = colour_of(stage, key)
    if key.recipe:
        draw.add_circle_filled(ImVec2(x, y), r, u32(theme.WELL), 20)
        draw.add_circle(ImVec2(x, y), r, u32(theme.SAND if picked else ink), 20, kit.px(2))
    else:
        points: list[Any] = [ImVec2(x, y - 1.5 * r), ImVec2(x + r, y), ImVec2(x, y + r), ImVec2(x - r, y)]
        draw.add_convex_poly_filled(points, u32(ink))
        outline = u32(theme.SAND if picked else theme.WELL)
        draw.add_polyline(points, outline, kit.px(2 if picked else 1), imgui.ImDrawFlags_.closed)
    laid.places[key] = (x, y, r)


def _face(kit: Kit, key: Key, x: float, y: float, r: float) -> None:
    """The picture of a recipe, round; of the face at rest an empty disc."""
    draw, low, high = imgui.get_window_draw_list(), ImVec2(x - r, y - r), ImVec2(x + r, y + r)
    picture = kit.picture("recipe", key.recipe) if key.recipe != NEUTRAL else None
    draw.add_circle_filled(ImVec2(x, y), r, u32(theme.RAISED), 28)
    if picture:
        ends = ImVec2(0.12, 0.12), ImVec2(0.88, 0.88)
        draw.add_image_rounded(imgui.ImTextureRef(picture), low, high, *ends, u32(theme.TEXT), r)
    elif key.recipe == NEUTRAL:
        draw.add_line(ImVec2(x - r * 0.45, y), ImVec2(x + r * 0.45, y), u32(theme.QUIET), kit.px(2))


def _bar(kit: Kit, lane: Lane, strip: TimeStrip, laid: Laid) -> None:
    """A bar over what is picked, whose ends stretch it."""
    times = sorted({key.time for key in strip.picked})
    if len(times) < 2:
        return
    left, right, y = lane.x(times[0]), lane.x(times[-1]), lane.top + kit.px(SCALE - 1)
    laid.bar = (left, right, y, times[0], times[-1])
    draw, half = imgui.get_window_draw_list(), kit.px(BAR) / 2
    draw.add_rect_filled(ImVec2(left, y - half / 2), ImVec2(right, y + half / 2), u32(theme.SAND, 0.6))
    for name, x in (("stretch left", left), ("stretch right", right)):
        low, high = ImVec2(x - half, y - 2 * half), ImVec2(x + half, y + 2 * half)
        draw.add_rect_filled(low, high, u32(theme.SAND), half)
        kit.seen[name] = (low.x, low.y, high.x, high.y)
