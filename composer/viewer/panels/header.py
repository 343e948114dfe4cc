"""The line along the top: what is open, the places of the window, what can be done with the document."""

from __future__ import annotations

import time
from collections.abc import Callable

from imgui_bundle import ImVec2, imgui

from composer.viewer.panels.steps import Steps
from composer.viewer.session.places import PLACES
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit

RIGHT = ("Undo", "Redo", "Steps", "Open", "Save", "Check", "Bake", "?")


def draw_header(stage: Stage, kit: Kit, act: Callable[[str], object], steps: Steps) -> None:
    """The whole line; `act(action)` does what a key would."""
    session = stage.opened
    wide = imgui.get_window_width()
    at, tall = imgui.get_cursor_screen_pos(), imgui.get_frame_height()
    size = theme.TEXT_SIZE * 1.3 * kit.scale
    imgui.get_window_draw_list().add_text(
        kit.faces.bold, size, ImVec2(at.x, at.y + (tall - size) / 2), theme.u32(theme.SAND), "Moue"
    )
    imgui.dummy(ImVec2(kit.px(52), tall))
    imgui.same_line(0, kit.px(12))
    imgui.align_text_to_frame_padding()
    middle = [("place_mix", "mix", "mix shapes by region"), ("place_paint", "paint", "paint the regions' masks"),
              ("place_marks", "marks", "place landmarks; the regions made from them follow"),
              ("place_new", "new", "fit the library onto your own sculpt")]  # fmt: skip
    total = sum((kit.wide(PLACES[p]) + kit.px(22) for _, p, _ in middle), 0.0)  # type: ignore[index]
    pad = 2 * imgui.get_style().frame_padding.x + kit.px(4)
    room = wide - sum((kit.wide(w) + pad for w in RIGHT), 0.0) - kit.px(32)
    start = min(max((wide - total) / 2, kit.px(270)), room - total - kit.px(12))
    title = kit.fit(session.title, min(kit.px(160), start - imgui.get_cursor_pos_x() - kit.px(42)))
    hint = f"what Moue takes this head for; {session.path}"
    if kit.button(f"{title}##title" if title.isascii() else title, hint, "about", name="title", bare=True):
        act("about")
    if session.unsaved:
        imgui.same_line(0, kit.px(3))
        _unsaved(stage, kit, start)
    imgui.same_line(start)
    for i, (action, place, hint) in enumerate(middle):
        if i:
            imgui.same_line(0, kit.px(3))
        if kit.button(PLACES[place], hint, action, on=stage.place == place):  # type: ignore[index]
            act(action)
    actions = ("undo", "redo", "steps", "open", "save", "check", "bake", "keys")
    new, some = stage.new_head if stage.place == "new" else None, bool(session.project.recipes)
    back = session.history.can_undo if new is None else new.can_undo
    forth = session.history.can_redo if new is None else new.can_redo
    can = (back, forth, len(session.history.steps) > 1 and new is None, True, True, some, some, True)
    hints = {"undo": "one step back", "redo": "one step forward",
             "steps": "every step, to go to any of them", "open": "open a library or a document",
             "save": "save the document", "bake": "write recipes as targets",
             "check": "check the open recipe for faults", "keys": "every key and gesture"}  # fmt: skip
    imgui.same_line(room)
    for i, (words, action, able) in enumerate(zip(RIGHT, actions, can, strict=True)):
        if i:
            imgui.same_line(0, kit.px(14 if words in ("Open", "?") else 4))
        if kit.button(words, hints[action], action if action != "steps" else "", on=False, able=able):
            imgui.open_popup("steps") if action == "steps" else act(action)
    steps.draw(stage, kit)


def _unsaved(stage: Stage, kit: Kit, until: float) -> None:
    """The sign of unsaved changes, and beside it, up to `until`, when the last copy of them was kept."""
    at, tall = imgui.get_cursor_screen_pos(), imgui.get_frame_height()
    kept = stage.keeping.kept_at if stage.keeping is not None else 0.0
    clock = time.strftime("%H:%M", time.localtime(kept))
    imgui.dummy(ImVec2(kit.px(14), tall))
    kit.mark("unsaved")
    copied = f"a copy for the case of a crash was kept at {clock}" if kept else "no copy of them was kept yet"
    kit.tip(f"there are unsaved changes; {copied}")
    kit.sign("dot", at.x + kit.px(6), at.y + tall / 2, kit.px(12), theme.SAND)
    if kept:
        middle = ImVec2(at.x + kit.px(6), at.y + tall / 2)
        imgui.get_window_draw_list().add_circle(middle, kit.px(5.5), theme.u32(theme.MOSS), 20, kit.px(1.4))
        imgui.same_line(0, kit.px(3))
        words = f"copy {clock}"
        if imgui.get_cursor_pos_x() + kit.wide(words) < until - kit.px(10):
            imgui.align_text_to_frame_padding()
            kit.quiet(words)
            kit.mark("copy kept")
