"""The sheet that asks for the name under which the chosen recipe's pose is kept as a shape."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.document.evaluated_recipe import EvaluatedRecipe
from composer.edits.shapes import keep_shape
from composer.viewer.panels.recipes.state import Recipes
from composer.viewer.session.stage import Stage
from composer.viewer.ui.kit import Kit


def draw_keep_sheet(recipes: Recipes, stage: Stage, kit: Kit) -> None:
    """The sheet, while it is open."""
    session = stage.opened
    if recipes.keeping:
        imgui.open_popup("Keep as a shape")
        recipes.keeping, recipes.shape_fault = False, ""
    middle = imgui.get_main_viewport().get_center()
    imgui.set_next_window_pos(middle, imgui.Cond_.appearing, ImVec2(0.5, 0.5))
    flags = imgui.WindowFlags_.always_auto_resize | imgui.WindowFlags_.no_title_bar
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(20), kit.px(16)))
    imgui.push_style_var(imgui.StyleVar_.window_rounding, kit.px(10))
    shown = imgui.begin_popup_modal("Keep as a shape", None, flags)[0]
    imgui.pop_style_var(2)
    if shown:
        with kit.bold():
            imgui.text("Keep the pose as a shape")
        kit.quiet("It appears in the tray and is saved with the document.")
        imgui.set_next_item_width(kit.px(300))
        if imgui.is_window_appearing():
            imgui.set_keyboard_focus_here()
        enter = imgui.InputTextFlags_.enter_returns_true
        entered, recipes.shape = kit.text_field("shape name", recipes.shape, flags=enter)
        kit.fault(recipes.shape_fault, "shape name", kit.px(300))
        if kit.button("Keep", name="Keep shape") or entered:
            pose, wanted = EvaluatedRecipe.of(session.evaluated, session.recipe).pose, recipes.shape.strip()
            delta = (pose - session.head.neutral).astype("float32")
            taken = [*session.head.shape_names, session.head.neutral_name]
            told = f"Kept {wanted}; it is in the tray."
            recipes.shape_fault = stage.fault_of(lambda p: keep_shape(p, wanted, delta, taken), told)
            if not recipes.shape_fault:
                imgui.close_current_popup()
        imgui.same_line()
        if kit.button("Cancel", name="Leave shape") or imgui.is_key_pressed(imgui.Key.escape):
            imgui.close_current_popup()
        imgui.end_popup()
