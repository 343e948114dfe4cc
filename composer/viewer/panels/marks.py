"""The checklist of landmarks: which there are, which are wanted for regions, and what is chosen."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.edits.landmarks import remove_landmark
from composer.head.landmark_names import landmark_names
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import u32


def draw_marks(stage: Stage, kit: Kit) -> None:
    """The whole panel."""
    session = stage.opened
    marks = session.head.landmarks
    have = dict(marks.points) if marks else {}
    moved = session.project.landmarks
    with kit.bold():
        imgui.text("Landmarks")
    wanted = landmark_names()
    names = [*have, *(name for name in wanted if name not in have)]
    imgui.same_line()
    kit.quiet(f"{len(have)} of {len(names)}")
    imgui.push_text_wrap_pos(0)
    kit.quiet(
        "Choose one, then press on its place. A mark on the head can be dragged. Regions made from landmarks follow."
    )
    imgui.pop_text_wrap_pos()
    kit.area("marks", high=-kit.px(40))
    for name in names:
        at, wide, high = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail().x, kit.px(24)
        if imgui.selectable(f"##{name}", name == stage.landmark, 0, ImVec2(wide, high))[0]:
            stage.landmark = name
        kit.mark(f"landmark {name}")
        draw = imgui.get_window_draw_list()
        sign, colour = ("dot", theme.SAND if name in moved else theme.TIDE) if name in have else ("solo", theme.QUIET)
        kit.sign(sign, at.x + kit.px(10), at.y + high / 2, kit.px(12 if name in have else 10), colour)
        text = theme.TEXT if name in have else theme.QUIET
        words = kit.fit(name.replace("_", " "), wide - kit.px(28))
        draw.add_text(ImVec2(at.x + kit.px(22), at.y + (high - imgui.get_font_size()) / 2), u32(text), words)
        origin = (
            "moved in this document" if name in moved else "from the head's file" if name in have else "not placed yet"
        )
        kit.tip(f"{name.replace('_', ' ')}: {origin}")
    imgui.end_child()
    able = stage.landmark in moved
    if kit.button("Reset to the head's file", "discard the place that this document gives it", able=able):
        name = stage.landmark
        stage.do(lambda p: remove_landmark(p, name))
