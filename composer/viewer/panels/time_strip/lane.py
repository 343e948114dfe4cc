"""The lane of the strip of time: seconds, how much is mixed in, keys, and the line at which time stands.

How much is mixed in is drawn as water along the foot: where the face does much it stands high. A key of the whole pose
is the small picture of its recipe, so that the lane shows the faces that hold where they hold; a key of one cell is a
drop in its region's colour, a recipe with a weight of its own a ring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from imgui_bundle import ImVec2, imgui
from numpy.typing import NDArray

from composer.document.evaluated_clip import EvaluatedClip
from composer.mixing.clip import NEUTRAL, Key
from composer.picture.palette import region_colour
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import Ink, u32

EDGE, SCALE = 18.0, 14.0
"""Room left and right of the time, and height of the line of seconds, in pixels at scale 1."""
STEPS = (0.04, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 300.0, 600.0)
"""Distances between two numbers of the line of seconds."""
BEFORE, AFTER = theme.ink(0x12617C), theme.ink(0xC03A20)
"""The inks of the ghosts: blue and vermilion stay apart for all kinds of sight, and show on skin and ground."""
NUMBER_PX = 46.0
"""Least distance between two numbers, in pixels at scale 1."""


@dataclass(frozen=True)
class Lane:
    """Where the lane lies, window points, and which seconds it shows."""

    left: float
    top: float
    right: float
    foot: float
    first: float
    last: float

    def x(self, time: float) -> float:
        """Where a time in seconds lies."""
        return self.left + (self.right - self.left) * (time - self.first) / max(self.last - self.first, 1e-9)

    def time(self, x: float) -> float:
        """The time at a place."""
        return self.first + (self.last - self.first) * (x - self.left) / max(self.right - self.left, 1e-9)


def lane_in(kit: Kit, made: EvaluatedClip, low: ImVec2, high: ImVec2) -> Lane:
    """The lane of a clip in a box of window points."""
    first = float(made.times[0])
    return Lane(low.x + kit.px(EDGE), low.y, high.x - kit.px(EDGE), high.y, first, first + made.length)


def draw_ground(kit: Kit, low: ImVec2, high: ImVec2) -> None:
    """The bed of the lane."""
    imgui.get_window_draw_list().add_rect_filled(low, high, u32(theme.WELL), kit.px(6))


def draw_seconds(kit: Kit, lane: Lane) -> None:
    """A number every so often, as wide as there is room."""
    draw, seconds = imgui.get_window_draw_list(), max(lane.last - lane.first, 1e-9)
    a_second = (lane.right - lane.left) / seconds
    step = next((each for each in STEPS if each * a_second >= kit.px(NUMBER_PX)), STEPS[-1])
    size = kit.px(11)
    for number in range(int(np.ceil(lane.first / step - 1e-9)), int(np.floor(lane.last / step + 1e-9)) + 1):
        time = number * step
        x = lane.x(time)
        draw.add_line(ImVec2(x, lane.top + kit.px(SCALE)), ImVec2(x, lane.foot), u32(theme.EDGE, 0.55), kit.px(1))
        words = f"{time:g}" if step >= 0.1 else f"{time:.2f}"
        wide = imgui.calc_text_size(words).x * size / imgui.get_font_size()
        at = ImVec2(x - wide / 2, lane.top + kit.px(2))
        draw.add_text(kit.faces.plain, size, at, u32(theme.QUIET), words)


def draw_water(kit: Kit, lane: Lane, made: EvaluatedClip) -> None:
    """How much is mixed in at every frame, as a share of the most."""
    amount = np.abs(made.weights).sum(axis=1) if made.cells else np.zeros(made.n_frames)
    most = float(amount.max(initial=0.0))
    if most <= 0.0:
        return
    xs, levels = _thinned(lane, made.times, amount / most)
    draw, deep = imgui.get_window_draw_list(), 0.55 * (lane.foot - lane.top - kit.px(SCALE))
    tops = lane.foot - levels * deep
    ink = u32(theme.TIDE, 0.22)
    for i in range(len(xs) - 1):
        draw.add_quad_filled(
            ImVec2(xs[i], lane.foot), ImVec2(xs[i], tops[i]), ImVec2(xs[i + 1], tops[i + 1]),
            ImVec2(xs[i + 1], lane.foot), ink,
        )  # fmt: skip
    line: list[Any] = [ImVec2(float(x), float(y)) for x, y in zip(xs, tops, strict=True)]
    draw.add_polyline(line, u32(theme.TIDE, 0.7), kit.px(1.2), 0)


def _thinned(lane: Lane, times: NDArray, values: NDArray) -> tuple[NDArray, NDArray]:
    """Places and values, at most one a pixel."""
    xs = np.array([lane.x(float(t)) for t in (times[0], times[-1])])
    most = max(int(xs[1] - xs[0]), 2)
    if len(times) <= most:
        return lane.left + (times - lane.first) / max(lane.last - lane.first, 1e-9) * (lane.right - lane.left), values
    groups = np.array_split(np.arange(len(times)), most)
    ends = np.linspace(xs[0], xs[1], most)
    return ends, np.array([float(values[group].max()) for group in groups])


def draw_now(stage: Stage, kit: Kit, lane: Lane, strip: TimeStrip) -> None:
    """The line at which time stands: whole where the face shows the clip, thin where it shows the open recipe."""
    x, draw = lane.x(strip.time), imgui.get_window_draw_list()
    ink = u32(theme.SAND, 1.0 if strip.seen else 0.6)
    draw.add_line(ImVec2(x, lane.top), ImVec2(x, lane.foot), ink, kit.px(2 if strip.seen else 1))
    r = kit.px(5)
    head = ImVec2(x - r, lane.top), ImVec2(x + r, lane.top), ImVec2(x, lane.top + kit.px(9))
    if strip.seen:
        draw.add_triangle_filled(*head, ink)
    else:
        draw.add_triangle(*head, ink, kit.px(1.2))


def draw_ghosts(stage: Stage, kit: Kit) -> None:
    """The faces before and after over the head, each in its ink."""
    left, top, width, height = stage.view
    draw, box = imgui.get_background_draw_list(), (ImVec2(left, top), ImVec2(left + width, top + height))
    for which, texture in kit.ghosts().items():
        ink = BEFORE if which == "before" else AFTER
        draw.add_image(imgui.ImTextureRef(texture), *box, ImVec2(0, 0), ImVec2(1, 1), u32(ink))


def colour_of(stage: Stage, key: Key) -> Ink:
    """The colour of a key: that of its region, or the ink of recipes."""
    sign = stage.opened.signs.get(key.region)
    if sign is None:
        return theme.TEXT
    red, green, blue = region_colour(sign.hue)
    return (red / 255, green / 255, blue / 255, 1.0)


def words_of(key: Key) -> str:
    """What a key says, for its hint."""
    between = {"hold": "holds", "linear": "goes straight on", "smooth": "goes smoothly on"}[key.interpolation]
    what = "the face at rest" if key.recipe == NEUTRAL else key.recipe if key.recipe else f"{key.region} × {key.shape}"
    weight = "" if key.weight is None else f" {100 * key.weight:.0f}%"
    return f"{what}{weight} at {key.time:.2f} s, {between}"
