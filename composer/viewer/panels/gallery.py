"""What chance found, as pictures to choose from, in the place of the tray."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.mixing.recipe import Recipe
from composer.viewer.session.percent import weight_words
from composer.viewer.session.stage import Stage
from composer.viewer.session.trying import Trying
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.picture_grid import PictureGrid
from composer.viewer.ui.theme import u32

SIDE = 118.0
"""Width of a picture, in pixels at scale 1."""


def draw_gallery(stage: Stage, kit: Kit, trying: Trying, pictures: PictureGrid) -> None:
    """The whole panel: a press on a picture shows it on the face and on the board."""
    session = stage.opened
    imgui.align_text_to_frame_padding()
    with kit.bold():
        imgui.text("By chance")
    imgui.same_line()
    kit.quiet(str(len(trying.gallery)))
    kit.at_right("Close")
    if kit.button("Close", "back to the shapes; what was not kept is forgotten", name="Close gallery"):
        trying.stop(session)
        trying.gallery = ()
        return
    if kit.button("One more", "another combination within the limits", name="One more"):
        stage.guard(lambda: trying.random(session))
    imgui.same_line(0, kit.px(4))
    if kit.button("Keep", "make the chosen one a recipe", able=trying.found is not None, name="Keep from gallery"):
        trying.keep(stage)
    pictures.begin(kit, "pictures by chance")
    room, gap = imgui.get_content_region_avail().x, kit.px(6)
    across = max(int((room + gap) // (kit.px(SIDE) + gap)), 1)
    side = (room - gap * (across - 1)) / across
    shown = tuple(reversed(trying.gallery))
    at = trying.found.name if trying.found is not None else ""
    pictures.lay([found.name for found in shown], at, across, side + imgui.get_style().item_spacing.y)
    for number, found in enumerate(shown):
        if number % across:
            imgui.same_line(0, gap)
        if _card(kit, found, side, found is trying.found, pictures) or pictures.takes(found.name):
            stage.guard(lambda found=found: trying.look_at(session, found))  # type: ignore[misc]
    imgui.end_child()


def _card(kit: Kit, found: Recipe, side: float, chosen: bool, pictures: PictureGrid) -> bool:
    """One picture; whether it was pressed."""
    at, draw = imgui.get_cursor_screen_pos(), imgui.get_window_draw_list()
    pressed = imgui.invisible_button(f"##{found.name}", ImVec2(side, side))
    kit.mark(found.name, able=False)
    hovered = imgui.is_item_hovered()
    box, picture = (at, ImVec2(at.x + side, at.y + side)), kit.picture("chance", found.name)
    if picture:
        ends = ImVec2(0, 0), ImVec2(1, 1)
        draw.add_image_rounded(imgui.ImTextureRef(picture), *box, *ends, u32(theme.TEXT), kit.px(6))
    else:
        draw.add_rect_filled(*box, u32(theme.RAISED), kit.px(6))
    if chosen or hovered:
        draw.add_rect(*box, u32(theme.SAND if chosen else theme.QUIET), kit.px(6), kit.px(2.2 if chosen else 1.2))
    pictures.ring(kit, found.name, *box)
    if hovered and imgui.is_item_hovered(imgui.HoveredFlags_.for_tooltip):
        with kit.hint():
            for cell in found.cells:
                kit.quiet(f"{cell.region} × {cell.shape}  {weight_words(cell.weight)}")
    return pressed
