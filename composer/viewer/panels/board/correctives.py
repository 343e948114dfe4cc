"""The correctives of the document, in a line below the matrix: how far each comes in, and its removal."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.edits.correctives import delete_corrective
from composer.mixing.corrective import Corrective
from composer.picture.letter_order import as_drawn
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def draw_correctives(stage: Stage, kit: Kit) -> None:
    """One field a corrective, filled as far as it comes in; a click opens its menu."""
    session = stage.opened
    shares = session.evaluated.corrective_weights(session.recipe)
    flags = imgui.WindowFlags_.horizontal_scrollbar | imgui.WindowFlags_.no_scrollbar
    imgui.begin_child("correctives", ImVec2(0, 0), imgui.ChildFlags_.nav_flattened, flags)
    imgui.align_text_to_frame_padding()
    kit.quiet("Correctives")
    for corrective in session.project.correctives:
        imgui.same_line(0, kit.px(8))
        _field(stage, kit, corrective, shares.get(corrective.shape, 0.0))
    if imgui.is_window_hovered() and imgui.get_io().mouse_wheel:
        imgui.set_scroll_x(imgui.get_scroll_x() - imgui.get_io().mouse_wheel * kit.px(60))
    imgui.end_child()


def _field(stage: Stage, kit: Kit, corrective: Corrective, share: float) -> None:
    name = corrective.shape
    words = f"{name}  {weight_words(round(share, 2))}"
    size = ImVec2(imgui.calc_text_size(words).x + kit.px(18), imgui.get_frame_height())
    at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
    pressed = imgui.invisible_button(f"corrective {name}", size, imgui.ButtonFlags_.enable_nav)
    kit.mark(f"corrective {name}")
    high, ground = ImVec2(at.x + size.x, at.y + size.y), theme.HOVER if imgui.is_item_hovered() else theme.RAISED
    draw.add_rect_filled(at, high, u32(ground), kit.px(5))
    draw.push_clip_rect(at, ImVec2(at.x + size.x * min(max(share, 0.0), 1.0), high.y), True)
    draw.add_rect_filled(at, high, u32(theme.MOSS, 0.55), kit.px(5))
    draw.pop_clip_rect()
    draw.add_text(ImVec2(at.x + kit.px(9), at.y + kit.px(5)), u32(theme.TEXT), as_drawn(words))
    cells = ", ".join(f"{t.region} × {t.shape} at {weight_words(t.at)}" for t in corrective.triggers)
    menu = f"corrective menu {name}"
    if pressed or kit.menu_asked():
        imgui.open_popup(menu)
    elif not imgui.is_popup_open(menu):
        kit.tip(f"comes in with {cells}; click to remove it")
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(10), kit.px(9)))
    if imgui.begin_popup(menu):
        with kit.bold():
            imgui.text(kit.fit(name, kit.px(300)))
        kit.quiet(kit.fit(f"comes in with {cells}", kit.px(420)))
        imgui.separator()
        if imgui.menu_item("Remove", "", False)[0]:
            stage.do(lambda project: delete_corrective(project, name),
                     f"Removed the corrective {name}; its shape stays. Undo brings it back.")
        kit.mark("Remove corrective")
        imgui.end_popup()
    imgui.pop_style_var()
