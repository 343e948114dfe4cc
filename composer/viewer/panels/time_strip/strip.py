"""The strip of time: a line of buttons, and below it the lane in which the clip runs."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.time_strip.lane import draw_ground, draw_now, draw_seconds, draw_water, lane_in
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def draw_time_strip(stage: Stage, kit: Kit, strip: TimeStrip) -> None:
    """The whole strip."""
    _line(stage, kit, strip)
    low, room = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail()
    high = ImVec2(low.x + room.x, low.y + max(room.y, kit.px(24)))
    draw_ground(kit, low, high)
    made = strip.made
    if made is None:
        _nothing(stage, kit, strip, low)
        return
    lane = lane_in(kit, made, low, high)
    draw_water(kit, lane, made)
    draw_seconds(kit, lane)
    imgui.invisible_button("##lane", ImVec2(high.x - low.x, high.y - low.y))
    kit.mark("lane")
    if imgui.is_item_active():
        strip.go_to_time(stage, lane.time(imgui.get_io().mouse_pos.x))
    wheel = imgui.get_io().mouse_wheel
    if imgui.is_item_hovered() and wheel:
        strip.go(stage, strip.frame + (1 if wheel < 0 else -1))
    draw_now(stage, kit, lane, strip)


def _line(stage: Stage, kit: Kit, strip: TimeStrip) -> None:
    """Buttons, what time it is, and how many frames were dropped."""
    able = strip.made is not None
    words = "Stop" if strip.running else "Play"
    if kit.button(words, "play the clip at its rate, or stop", "play", on=strip.running, able=able, name="Play"):
        play_or_stop(stage, strip)
    imgui.same_line(0, kit.px(4))
    hint = "begin again at the end"
    if kit.button("Loop", hint, "loop", on=strip.loop, name="Loop"):
        strip.loop = not strip.loop
    imgui.same_line(0, kit.px(12))
    imgui.align_text_to_frame_padding()
    if strip.made is not None:
        kit.text(f"{strip.time:.2f} s")
        imgui.same_line(0, kit.px(8))
        made = strip.made
        kit.quiet(f"frame {strip.frame} of {made.n_frames - 1}, {made.clip.fps:g} a second{dropped_words(strip)}")
        kit.mark("rate")
    kit.at_right("Close")
    if kit.button("Close", "put the strip of time away", "time", name="Close time"):
        stage.time_shown = False


def dropped_words(strip: TimeStrip) -> str:
    """How many frames were not drawn since the clip began to play."""
    if not strip.shown:
        return ""
    return f"; {strip.dropped} of {strip.shown + strip.dropped} dropped" if strip.dropped else "; none dropped"


def play_or_stop(stage: Stage, strip: TimeStrip) -> None:
    """What Space does."""
    if strip.running:
        strip.stop()
    else:
        strip.play(stage)


def _nothing(stage: Stage, kit: Kit, strip: TimeStrip, low: ImVec2) -> None:
    """What the lane says where there is no clip to play."""
    words = strip.face.fault or "This document has no clip yet."
    draw = imgui.get_window_draw_list()
    room = imgui.get_content_region_avail().x - kit.px(28)
    ink = theme.CORAL if strip.face.fault else theme.QUIET
    draw.add_text(ImVec2(low.x + kit.px(14), low.y + kit.px(12)), u32(ink), kit.fit(words, room))
