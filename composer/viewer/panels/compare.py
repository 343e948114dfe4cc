"""Comparing the pose with another one: what is chosen, and how both are drawn."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.picture.letter_order import as_drawn
from composer.viewer.session.compare import HOW, NEUTRAL, TARGET
from composer.viewer.session.sculpts import compare_with_target
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.frames import wipe_line
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32

WIDE = 280.0
"""Width of the choices, in pixels at scale 1."""
GHOST = 0.5
"""Opacity of the ghost; chosen by eye."""


def compare_menu(stage: Stage, kit: Kit) -> None:
    """The choices, while they are open."""
    compare, session = stage.compare, stage.opened
    imgui.push_style_var(imgui.StyleVar_.window_padding, ImVec2(kit.px(10), kit.px(9)))
    kit.under("Compare", kit.px(WIDE + 20))
    if imgui.begin_popup("compare"):
        imgui.dummy(ImVec2(kit.px(WIDE), 0))
        names: dict[str, str] = {name: words for name, (words, _) in HOW.items()}
        hints: dict[str, str] = {name: hint for name, (_, hint) in HOW.items()}
        compare.how = kit.choice(names, compare.how, hints, "compare ")  # type: ignore[assignment]
        kit.quiet("with")
        whom = {NEUTRAL: "the neutral"} | ({TARGET: "the target"} if session.target is not None else {})
        whom |= {recipe.name: recipe.name for recipe in session.project.recipes if recipe.name != session.recipe_name}
        for name, words in whom.items():
            shown = kit.fit(words, kit.px(260))
            stays = imgui.SelectableFlags_.no_auto_close_popups
            if imgui.selectable(f"{shown}##{name}", name == compare.whom, stays)[0]:
                compare.whom = name
                compare.how = compare.how if compare.how != "off" else "ghost"
            kit.mark(f"compare with {words}")
        if imgui.selectable("a target's file ...", False)[0]:
            heading = "The target to compare with"
            stage.dialogs.path_for = (heading, "Compare", lambda path: compare_with_target(stage, path))
        kit.mark("compare with a file")
        imgui.end_popup()
    imgui.pop_style_var()


def draw_compared(stage: Stage, kit: Kit, texture: int | None) -> None:
    """The picture of the other pose over the view, or beside it."""
    compare = stage.compare
    if texture is None:
        return
    left, top, width, height = stage.view
    draw, picture = imgui.get_background_draw_list(), imgui.ImTextureRef(texture)
    low, high = ImVec2(left, top), ImVec2(left + width, top + height)
    if compare.how == "ghost":
        draw.add_image(picture, low, high, ImVec2(0, 1), ImVec2(1, 0), u32((1.0, 1.0, 1.0, GHOST)))
    elif compare.how == "wipe":
        x = left + width * compare.at
        draw.add_image(picture, low, ImVec2(x, top + height), ImVec2(0, 1), ImVec2(compare.at, 0))
        moved = wipe_line(kit, x, top, height)
        compare.at = min(max(compare.at + moved / max(width, 1.0), 0.0), 1.0)
        _name(stage, kit, left + kit.px(12), top + height - kit.px(34))
    elif compare.how == "side":
        right = left + width
        draw.add_image(picture, ImVec2(right, top), ImVec2(right + width, top + height), ImVec2(0, 1), ImVec2(1, 0))
        draw.add_line(ImVec2(right, top), ImVec2(right, top + height), u32(theme.DEEP), kit.px(2))
        _name(stage, kit, right + kit.px(12), top + height - kit.px(34))


def _name(stage: Stage, kit: Kit, x: float, y: float) -> None:
    """What the other pose is called, on a small dark ground."""
    words = {NEUTRAL: "the neutral", TARGET: "the target"}.get(stage.compare.whom, stage.compare.whom)
    draw, size = imgui.get_background_draw_list(), imgui.calc_text_size(as_drawn(words))
    low, high = ImVec2(x - kit.px(7), y - kit.px(3)), ImVec2(x + size.x + kit.px(7), y + size.y + kit.px(4))
    draw.add_rect_filled(low, high, u32(theme.DEEP, 0.85), kit.px(6))
    draw.add_text(ImVec2(x, y), u32(theme.TEXT), as_drawn(words))
