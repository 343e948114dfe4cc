"""The strip of recipes: a card with a picture for each, and the chosen one's settings below."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.edits.recipes import rename_recipe
from composer.mixing.recipe import Recipe
from composer.viewer.panels.recipes.chosen import draw_chosen
from composer.viewer.panels.recipes.commands import new_recipe
from composer.viewer.panels.recipes.keep_sheet import draw_keep_sheet
from composer.viewer.panels.recipes.menu import draw_menu
from composer.viewer.panels.recipes.state import Recipes
from composer.viewer.panels.recipes.trials import draw_trials
from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

NOTE_LINES = 3
"""Lines of its note that a card shows."""


def draw_recipes(recipes: Recipes, stage: Stage, kit: Kit, trying: Trying) -> None:
    """The whole panel."""
    session = stage.opened
    imgui.align_text_to_frame_padding()
    with kit.bold():
        imgui.text("Recipes")
    kit.at_right("Match", "New")
    if kit.button("Match", "make the recipe whose pose comes nearest to a target", name="Match a target"):
        stage.dialogs.match = True
    imgui.same_line(0, kit.px(4))
    if kit.button("New", "an empty recipe", "new_recipe", name="New recipe"):
        new_recipe(stage)
    below = kit.px(0 if not session.project.recipes else 232 if trying.found is None else 268)
    kit.area("strip", high=-below)
    names = [recipe.name for recipe in session.project.recipes]
    with kit.bold():
        words_of = kit.apart(names, imgui.get_content_region_avail().x - _side(kit) - kit.px(24))
    for recipe in session.project.recipes:
        _card(recipes, stage, kit, recipe, trying, words_of[recipe.name])
    if not session.project.recipes:
        imgui.push_text_wrap_pos(0)
        kit.quiet(
            "A recipe is one expression, mixed by region. Drop a shape on the face to make the first one."
        )
        imgui.pop_text_wrap_pos()
    imgui.end_child()
    if session.project.recipes:
        draw_chosen(stage, kit)
        draw_trials(stage, kit, trying)
    draw_keep_sheet(recipes, stage, kit)


def _side(kit: Kit) -> float:
    """The side of a card's picture, in pixels: less where the strip is narrow."""
    return kit.px(84) if imgui.get_content_region_avail().x >= kit.px(180) else kit.px(64)


def _card(
    recipes: Recipes, stage: Stage, kit: Kit, recipe: Recipe, trying: Trying, name: str
) -> None:  # fmt: skip
    session = stage.opened
    wide = imgui.get_content_region_avail().x
    high = kit.px(96)
    at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
    if recipes.naming == recipe.name:
        _name_field(recipes, stage, kit, recipe, wide)
        return
    if imgui.invisible_button(f"recipe {recipe.name}", ImVec2(wide, high), imgui.ButtonFlags_.enable_nav):
        trying.stop(session)
        session.choose_recipe(recipe.name)
    kit.mark(f"recipe {recipe.name}")
    if kit.menu_asked():
        imgui.open_popup(f"recipe menu {recipe.name}")
    hovered, chosen = imgui.is_item_hovered(), recipe.name == session.recipe_name
    if chosen and recipes.in_sight != recipe.name:
        recipes.in_sight = recipe.name
        if not imgui.is_item_visible() or at.y + high > imgui.get_window_pos().y + imgui.get_window_height():
            imgui.set_scroll_here_y(1.0)
    if hovered and imgui.is_mouse_double_clicked(0):
        recipes.begin_naming(recipe.name)
    if chosen or hovered:
        ground = theme.RAISED if chosen else theme.HOVER
        draw.add_rect_filled(at, ImVec2(at.x + wide, at.y + high), u32(ground), kit.px(7))
    if chosen:
        draw.add_rect_filled(at, ImVec2(at.x + kit.px(3.5), at.y + high), u32(theme.SAND), kit.px(2))
    side = _side(kit)
    low = ImVec2(at.x + kit.px(9), at.y + kit.px(6))
    picture = kit.picture("recipe", recipe.name)
    if picture:
        draw.add_image_rounded(
            imgui.ImTextureRef(picture), low, ImVec2(low.x + side, low.y + side), ImVec2(0, 0), ImVec2(1, 1),
            u32(theme.TEXT), kit.px(6),
        )  # fmt: skip
    else:
        draw.add_rect_filled(low, ImVec2(low.x + side, low.y + side), u32(theme.DEEP), kit.px(6))
    text_x, room = low.x + side + kit.px(9), wide - side - kit.px(24)
    with kit.bold():
        draw.add_text(ImVec2(text_x, at.y + kit.px(9)), u32(theme.TEXT), name)
    cells = len(recipe.cells)
    words = f"{cells} cell{'s' if cells != 1 else ''}"
    draw.add_text(ImVec2(text_x, at.y + kit.px(29)), u32(theme.QUIET), kit.fit(words, room))
    if recipe.note:
        _note(kit, recipe.note, text_x, at.y + kit.px(48), room)
    if hovered and not imgui.is_popup_open(f"recipe menu {recipe.name}"):
        kit.tip(f"{recipe.name}: {recipe.note}" if recipe.note else recipe.name)
    if imgui.begin_popup(f"recipe menu {recipe.name}"):
        session.choose_recipe(recipe.name)
        draw_menu(recipes, stage, kit, recipe, trying)
        imgui.end_popup()


def _note(kit: Kit, note: str, x: float, y: float, room: float) -> None:
    """As much of a note as three lines of this width hold, in whole words."""
    draw, size = imgui.get_window_draw_list(), imgui.get_font_size() * 0.87
    share, words, lines = size / imgui.get_font_size(), note.split(), [""]
    for n, word in enumerate(words):
        longer = f"{lines[-1]} {word}".strip()
        if kit.wide(longer) * share <= room or not lines[-1]:
            lines[-1] = longer
        elif len(lines) < NOTE_LINES:
            lines.append(word)
        else:
            lines[-1] = " ".join([lines[-1], *words[n:]])
            break
    for n, line in enumerate(lines):
        draw.add_text(
            imgui.get_font(), size, ImVec2(x, y + n * size * 1.15), u32(theme.QUIET), kit.fit(line, room / share)
        )


def _name_field(recipes: Recipes, stage: Stage, kit: Kit, recipe: Recipe, wide: float) -> None:
    session = stage.opened
    imgui.set_next_item_width(wide)
    if recipes.fresh:
        imgui.set_keyboard_focus_here()
    flags = imgui.InputTextFlags_.enter_returns_true | imgui.InputTextFlags_.auto_select_all
    entered, recipes.name = kit.text_field("recipe name", recipes.name, flags=flags)
    left = not recipes.fresh and imgui.is_item_deactivated()
    recipes.fresh = False
    if entered:
        wanted = recipes.name.strip()
        recipes.fault = stage.fault_of(lambda p: rename_recipe(p, recipe.name, wanted))
        recipes.fresh = bool(recipes.fault)
        if not recipes.fault:
            session.choose_recipe(wanted)
    if (entered and not recipes.fault) or (left and not entered):
        recipes.naming, recipes.fault = "", ""
    kit.fault(recipes.fault, "recipe name", wide)
