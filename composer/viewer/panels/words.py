"""The messages at the foot of the window: notes that fade, faults that stay, and jobs with a Cancel button."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.viewer.session.stage import Stage, Words
from composer.viewer.session.work import Job
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

SIGNS = {"note": ("dot", theme.TIDE), "done": ("dot", theme.MOSS), "wrong": ("mute", theme.CORAL)}
FLAGS = (
    imgui.WindowFlags_.no_decoration | imgui.WindowFlags_.always_auto_resize | imgui.WindowFlags_.no_saved_settings
    | imgui.WindowFlags_.no_focus_on_appearing | imgui.WindowFlags_.no_nav | imgui.WindowFlags_.no_move
)  # fmt: skip


def draw_words(stage: Stage, kit: Kit, foot: float, middle: float) -> None:
    """Lines stacked upwards from `foot`, about `middle` (window points)."""
    wide = min(kit.px(560), imgui.get_io().display_size.x - kit.px(40))
    high = 0.0
    shown: list[Job | Words] = [*(job for job in stage.work.jobs if not job.quiet), *reversed(stage.words)]
    for number, thing in enumerate(shown):
        imgui.set_next_window_pos(ImVec2(middle, foot - high), imgui.Cond_.always, ImVec2(0.5, 1.0))
        imgui.set_next_window_size_constraints(ImVec2(kit.px(120), 0), ImVec2(wide, kit.px(200)))
        imgui.push_style_color(imgui.Col_.window_bg, theme.vec4(theme.DEEP))
        imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(8))
        imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(12), kit.px(8)))
        imgui.begin(f"words {number}", None, FLAGS)
        if isinstance(thing, Job):
            _job(kit, thing)
        else:
            _line(stage, kit, thing, wide)
        high += imgui.get_window_height() + kit.px(6)
        imgui.end()
        imgui.pop_style_var(2)
        imgui.pop_style_color()


def _job(kit: Kit, job: Job) -> None:
    """How far a job is, and the button that stops it."""
    imgui.text(kit.fit(f"{job.name}: {job.words}" if job.words != job.name else job.name, kit.px(340)))
    imgui.push_style_color(imgui.Col_.frame_bg, theme.vec4(theme.RAISED))
    imgui.progress_bar(job.fraction, ImVec2(kit.px(300), kit.px(8)), "")
    imgui.pop_style_color()
    imgui.same_line()
    if kit.button("Cancel", name=f"cancel {job.name.split()[0].lower()}"):
        job.cancel()


def _line(stage: Stage, kit: Kit, words: Words, wide: float) -> None:
    """One line with its sign; a press takes it away, and leads to its place."""
    sign, colour = SIGNS[words.kind]
    at, tall = imgui.get_cursor_screen_pos(), imgui.get_text_line_height()
    imgui.dummy(ImVec2(kit.px(14), tall))
    kit.sign(sign, at.x + kit.px(6), at.y + tall / 2, kit.px(13), colour)
    imgui.same_line(0, kit.px(6))
    imgui.push_text_wrap_pos(imgui.get_cursor_pos_x() + wide - kit.px(50))
    kit.text(words.text)
    imgui.pop_text_wrap_pos()
    kit.mark(f"words {words.place or words.kind}")
    pressed = False
    if words.press is not None:
        imgui.dummy(ImVec2(kit.px(14), 1))
        imgui.same_line(0, kit.px(6))
        pressed = kit.button(words.press[0], name=f"words: {words.press[0]}")
        if pressed:
            stage.words = [each for each in stage.words if each is not words]
            words.press[1]()
    on_button = words.press is not None and imgui.is_item_hovered()
    if imgui.is_window_hovered() and imgui.is_mouse_clicked(0) and not pressed and not on_button:
        stage.words = [each for each in stage.words if each is not words]
        if words.place is not None and stage.session is not None:
            stage.place = words.place
    if words.kind == "wrong":
        low, size = imgui.get_window_pos(), imgui.get_window_size()
        high = ImVec2(low.x + size.x, low.y + size.y)
        imgui.get_window_draw_list().add_rect(low, high, u32(theme.CORAL), kit.px(8), kit.px(1.2))
