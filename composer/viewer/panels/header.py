"""The line along the top: what is open, the places of the window, what can be done with the document."""

from __future__ import annotations

from collections.abc import Callable

from imgui_bundle import ImVec2, imgui

from composer.viewer.session.places import PLACES
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit

RIGHT = ("Undo", "Redo", "Open", "Save", "Check", "Bake", "?")


def draw_header(stage: Stage, kit: Kit, act: Callable[[str], object]) -> None:
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
    narrow = wide < kit.px(1000)
    title = kit.fit(session.title, kit.px(90 if narrow else 160))
    hint = f"what Moue takes this head for; {session.path}"
    if kit.button(f"{title}##title" if title.isascii() else title, hint, "about", name="title", bare=True):
        act("about")
    if session.unsaved:
        imgui.same_line(0, kit.px(7))
        at = imgui.get_cursor_screen_pos()
        imgui.dummy(ImVec2(kit.px(9), imgui.get_frame_height()))
        kit.tip("there are unsaved changes")
        kit.sign("dot", at.x + kit.px(4), at.y + imgui.get_frame_height() / 2, kit.px(12), theme.SAND)
    middle = [("place_mix", "mix", "mix shapes by region"), ("place_paint", "paint", "paint the regions' masks"),
              ("place_marks", "marks", "place landmarks; the regions made from them follow"),
              ("place_new", "new", "fit the library onto your own sculpt")]  # fmt: skip
    total = sum((imgui.calc_text_size(PLACES[p]).x + kit.px(22) for _, p, _ in middle), 0.0)  # type: ignore[index]
    pad = 2 * imgui.get_style().frame_padding.x + kit.px(4)
    room = wide - sum((imgui.calc_text_size(w).x + pad for w in RIGHT), 0.0) - kit.px(32)
    imgui.same_line(min(max((wide - total) / 2, kit.px(200 if narrow else 270)), room - total - kit.px(12)))
    for i, (action, place, hint) in enumerate(middle):
        if i:
            imgui.same_line(0, kit.px(3))
        if kit.button(PLACES[place], hint, action, on=stage.place == place):  # type: ignore[index]
            act(action)
    actions = ("undo", "redo", "open", "save", "check", "bake", "keys")
    new, some = stage.new_head if stage.place == "new" else None, bool(session.project.recipes)
    back = session.history.can_undo if new is None else new.can_undo
    forth = session.history.can_redo if new is None else new.can_redo
    can = (back, forth, True, True, some, some, True)
    hints = {"undo": "one step back", "redo": "one step forward", "open": "open a library or a document",
             "save": "save the document", "bake": "write recipes as targets",
             "check": "check the open recipe for faults", "keys": "every key and gesture"}  # fmt: skip
    imgui.same_line(room)
    for i, (words, action, able) in enumerate(zip(RIGHT, actions, can, strict=True)):
        if i:
            imgui.same_line(0, kit.px(14 if words in ("Open", "?") else 4))
        if kit.button(words, hints[action], action, on=False, able=able):
            act(action)
