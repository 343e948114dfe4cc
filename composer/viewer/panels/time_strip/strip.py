"""The strip of time: a line of buttons, and below it the lane in which the clip runs."""

from __future__ import annotations

from dataclasses import dataclass, field

from imgui_bundle import ImVec2, imgui

from composer.document.evaluated_clip import EvaluatedClip
from composer.viewer.panels.time_strip.commands import key_of_cell, key_of_recipe, make_clip, play_or_stop
from composer.viewer.panels.time_strip.held import LaneHand
from composer.viewer.panels.time_strip.keys_drawn import (
    NEAR,
    Laid,
    draw_curve_words,
    draw_keys,
    hint_of,
    weight_at,
)
from composer.viewer.panels.time_strip.lane import Lane, draw_ground, draw_now, draw_seconds, draw_water, lane_in
from composer.viewer.panels.time_strip.menus import ClipMenu, draw_key_menu
from composer.viewer.session.stage import Stage
from composer.viewer.session.time_strip import TimeStrip
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

NO_CLIP = "No clip yet: press New clip and set keys of recipes in it, or Match a performance."
ROOMY = 700.0
"""Width of the strip from which on its line says the frame and the rate, in pixels at scale 1."""


@dataclass
class TimePanel:
    """What the strip remembers between frames of the window: the hand in its lane, and its menu."""

    hand: LaneHand = field(default_factory=LaneHand)
    menu: ClipMenu = field(default_factory=ClipMenu)

    def draw(self, stage: Stage, kit: Kit, strip: TimeStrip) -> None:
        """The whole strip."""
        self._line(stage, kit, strip)
        if any(imgui.is_mouse_clicked(button) for button in (0, 1)) and not imgui.is_popup_open("key menu"):
            self.hand.at_hand = imgui.is_window_hovered(imgui.HoveredFlags_.child_windows)
            strip.picked = strip.picked if self.hand.at_hand else frozenset()
        low, room = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail()
        high = ImVec2(low.x + room.x, low.y + max(room.y, kit.px(24)))
        draw_ground(kit, low, high)
        if strip.made is None:
            self.hand.abandon(stage, strip)
            self._nothing(stage, kit, strip, low)
            return
        self._lane(stage, kit, strip, strip.made, lane_in(kit, strip.made, low, high), low, high)

    def _lane(
        self, stage: Stage, kit: Kit, strip: TimeStrip, made: EvaluatedClip, lane: Lane, low: ImVec2, high: ImVec2
    ) -> None:  # fmt: skip
        draw_water(kit, lane, made)
        draw_seconds(kit, lane)
        imgui.invisible_button("##lane", ImVec2(high.x - low.x, high.y - low.y), imgui.ButtonFlags_.enable_nav)
        kit.mark("lane")
        hovered, began = imgui.is_item_hovered(), imgui.is_item_activated()
        active, menu = imgui.is_item_active(), kit.menu_asked()
        laid = draw_keys(stage, kit, lane, strip, made)
        draw_now(stage, kit, lane, strip)
        draw_curve_words(stage, kit, lane, made, laid, strip.frame)
        self._pointer(stage, kit, strip, lane, laid, hovered, began and imgui.is_mouse_down(0), active, menu)
        draw_key_menu(stage, kit, strip, self.hand)

    def _pointer(
        self, stage: Stage, kit: Kit, strip: TimeStrip, lane: Lane, laid: Laid, hovered: bool, began: bool,
        active: bool, menu: bool,
    ) -> None:  # fmt: skip
        """What the pointer does: press, drag, release, wheel, hints."""
        io, hand = imgui.get_io(), self.hand
        x, y = io.mouse_pos.x, io.mouse_pos.y
        key, grip = laid.key_at(x, y, kit.px(NEAR)), laid.grip_at(x, y, kit.px(6))
        if began and not strip.made_of_file:
            hand.press(strip, lane, key, grip, key is not None and key.cell == laid.curve and key.cell is not None)
        elif began:
            hand.press(strip, lane, None, None, False)
        if active:
            hand.move(stage, strip, lane, lambda height: weight_at(kit, lane, laid, height))
        elif hand.drag is not None:
            hand.release(stage, strip)
        if hovered and io.mouse_wheel:
            strip.go(stage, strip.frame + (1 if io.mouse_wheel < 0 else -1))
        if menu and not strip.made_of_file:
            if key is not None and key not in strip.picked:
                strip.picked = frozenset({key})
            elif key is None and not imgui.is_item_focused():
                strip.picked = frozenset()
                strip.go_to_time(stage, lane.time(x))
            imgui.open_popup("key menu")
        if not hovered or hand.drag is not None:
            return
        if grip is not None:
            imgui.set_mouse_cursor(imgui.MouseCursor_.resize_ew)
        elif key is not None and not imgui.is_popup_open("key menu"):
            hint_of(kit, key)

    def _line(self, stage: Stage, kit: Kit, strip: TimeStrip) -> None:
        """Buttons, what time it is, and how many frames were dropped."""
        made, roomy = strip.made, imgui.get_content_region_avail().x >= kit.px(ROOMY)
        words = "Stop" if strip.running else "Play"
        hint = "play the clip at its rate, or stop"
        if kit.button(words, hint, "play", on=strip.running, able=made is not None, name="Play"):
            play_or_stop(stage, strip)
        imgui.same_line(0, kit.px(3))
        if kit.button("Loop", "begin again at the end", "loop", on=strip.loop):
            strip.loop = not strip.loop
        imgui.same_line(0, kit.px(3))
        name = kit.fit(strip.name, kit.px(150 if roomy else 90)) if strip.name else "New clip"
        if kit.button(f"{name}##clip", "which clip; its name, length and rate", name="Clip"):
            imgui.open_popup("clips") if strip.name else make_clip(stage, strip)
        _over(kit, "Clip")
        self.menu.draw(stage, kit, strip)
        if roomy or not strip.name:
            imgui.same_line(0, kit.px(3))
            if kit.button("Match", "a performance, frame by frame, becomes a clip", name="Match take"):
                stage.dialogs.match_take = True
        if made is not None:
            imgui.same_line(0, kit.px(10))
            imgui.align_text_to_frame_padding()
            kit.text(f"{strip.time:.2f} s")
            imgui.same_line(0, kit.px(8))
            number = f"{strip.frame} of {made.n_frames - 1}, " if roomy else ""
            room = imgui.get_content_region_avail().x - _right(kit, strip, roomy)
            words = f"{number}{made.clip.fps:g}/s{dropped_words(strip)}"
            if kit.wide(words) > room and strip.shown:
                words = f"{strip.dropped} dropped"
            kit.quiet(kit.fit(words, room))
            kit.mark("rate")
            kit.tip(rate_words(strip, made))
        kit.at_right(*_right_words(strip, roomy))
        able = made is not None and not strip.made_of_file
        if kit.button("Key", "the whole face goes to the open recipe here", "key_recipe", able=able, name="Key"):
            key_of_recipe(stage, strip)
        imgui.same_line(0, kit.px(3))
        if kit.button("Cell", "a key of the chosen cell alone, at the weight it shows", "key_cell", able=able,
                      name="Key cell"):  # fmt: skip
            key_of_cell(stage, strip)
        imgui.same_line(0, kit.px(3))
        hint = "the faces of the keys before and after shine through while time stands"
        if kit.button("Ghosts", hint, "ghosts", on=strip.ghosts, able=made is not None):
            strip.ghosts = not strip.ghosts
        if strip.sound.heard:
            imgui.same_line(0, kit.px(3))
            if kit.button("Sound", f"{strip.sound.path} plays with it", on=not strip.silent):
                strip.hush(not strip.silent)
        if not roomy:
            return
        imgui.same_line(0, kit.px(3))
        if kit.button("Close", "put the strip of time away", "time", name="Close time"):
            stage.time_shown = False

    def _nothing(self, stage: Stage, kit: Kit, strip: TimeStrip, low: ImVec2) -> None:
        """What the lane says where there is no clip to play."""
        words = strip.face.fault or NO_CLIP
        draw = imgui.get_window_draw_list()
        room = imgui.get_content_region_avail().x - kit.px(28)
        ink = theme.CORAL if strip.face.fault else theme.QUIET
        draw.add_text(ImVec2(low.x + kit.px(14), low.y + kit.px(12)), u32(ink), kit.fit(words, room))


def _over(kit: Kit, name: str) -> None:
    """The next window lies over a control that was drawn before: below the strip there is less room."""
    left, top, _, _ = kit.seen[name]
    imgui.set_next_window_pos(ImVec2(left, top - kit.px(4)), imgui.Cond_.always, ImVec2(0.0, 1.0))


def _right_words(strip: TimeStrip, roomy: bool) -> list[str]:
    return ["Key", "Cell", "Ghosts", *(["Sound"] if strip.sound.heard else []), *(["Close"] if roomy else [])]


def _right(kit: Kit, strip: TimeStrip, roomy: bool) -> float:
    """The width of the buttons at the right end."""
    pad = 2 * imgui.get_style().frame_padding.x + kit.px(4)
    return sum(kit.wide(words) + pad for words in _right_words(strip, roomy)) + kit.px(10)


def dropped_words(strip: TimeStrip) -> str:
    """How many frames were not drawn since the clip began to play."""
    if not strip.shown:
        return ""
    return f"; {strip.dropped} of {strip.shown + strip.dropped} dropped" if strip.dropped else "; none dropped"


def rate_words(strip: TimeStrip, made: EvaluatedClip) -> str:
    """The same in whole sentences."""
    words = f"Frame {strip.frame} of {made.n_frames - 1}, at {made.clip.fps:g} frames a second."
    if strip.shown:
        words += f" Since it began to play {strip.shown} frames were drawn, and {strip.dropped} came too late."
    return words
