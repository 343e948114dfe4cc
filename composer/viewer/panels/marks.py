"""The checklist of landmarks: guesses to look at first, then those there are, and those wanted for regions."""

from __future__ import annotations

from imgui_bundle import ImVec2, imgui

from composer.edits.landmarks import accept_guesses, remove_landmark
from composer.head.landmark_names import landmark_names
from composer.head.plain_names import named, plain_name, side_letters
from composer.viewer.session.stage import Stage
from composer.viewer.ui import theme
from composer.viewer.ui.kit import Kit
from composer.viewer.ui.theme import Ink, u32


def draw_marks(stage: Stage, kit: Kit) -> None:
    """The whole panel."""
    project, marks = stage.opened.project, stage.opened.head.landmarks
    have = list(marks.points) if marks else []
    names = sorted([*have, *(name for name in landmark_names() if name not in have)],
                   key=lambda name: (name not in project.guesses, name not in have))  # fmt: skip
    with kit.bold():
        imgui.text("Landmarks")
    imgui.same_line()
    kit.quiet(f"{len(have)} of {len(names)}")
    imgui.push_text_wrap_pos(0)
    kit.quiet(
        "Choose one, then press on its place. A mark on the head can be dragged. Regions made from landmarks follow."
    )
    if project.guesses:
        imgui.text_colored(theme.vec4(theme.ORANGE), f"{len(project.guesses)} are guesses: move or accept them.")
    imgui.pop_text_wrap_pos()
    kit.area("marks", high=-kit.px(76 if project.guesses else 40))
    for name in names:
        _row(stage, kit, name, name in have)
    imgui.end_child()
    if project.guesses:
        _accept(stage, kit)
    of_file = stage.opened.evaluated.library.landmarks
    able = stage.landmark in project.landmarks and of_file is not None and stage.landmark in of_file.points
    if kit.button("Reset to the head's file", "discard the place that this document gives it", able=able):
        name = stage.landmark
        stage.do(lambda p: remove_landmark(p, name))


def _row(stage: Stage, kit: Kit, name: str, there: bool) -> None:
    at, wide, high = imgui.get_cursor_screen_pos(), imgui.get_content_region_avail().x, kit.px(24)
    if imgui.selectable(f"##{name}", name == stage.landmark, 0, ImVec2(wide, high))[0]:
        stage.landmark = name
    kit.mark(f"landmark {name}")
    sign, colour, origin = _state(stage, name, there)
    kit.sign(sign, at.x + kit.px(10), at.y + high / 2, kit.px(12 if there else 10), colour)
    text = theme.TEXT if there else theme.QUIET
    plain = plain_name(name)
    words = kit.fit(plain, wide - kit.px(28), side_letters(plain))
    place = ImVec2(at.x + kit.px(22), at.y + (high - imgui.get_font_size()) / 2)
    imgui.get_window_draw_list().add_text(place, u32(text), words)
    kit.tip(f"{named(name)}: {origin}")


def _state(stage: Stage, name: str, there: bool) -> tuple[str, Ink, str]:
    """The sign, the colour and the words of a landmark's state."""
    project, of_file = stage.opened.project, stage.opened.evaluated.library.landmarks
    if not there:
        return "solo", theme.QUIET, "not placed yet"
    if name in project.guesses:
        return "star", theme.ORANGE, "a guess: look at it, then move it or accept it"
    if name not in project.landmarks:
        return "dot", theme.TIDE, "from the head's file"
    moved = of_file is not None and name in of_file.points
    return "dot", theme.SAND, "moved in this document" if moved else "placed in this document"


def _accept(stage: Stage, kit: Kit) -> None:
    """Two buttons: the chosen guess is right, or all are."""
    name, guesses = stage.landmark, stage.opened.project.guesses
    if kit.button("Accept", "the chosen guess lies where it should", able=name in guesses):
        stage.do(lambda p: accept_guesses(p, [name]))
    imgui.same_line(0, kit.px(6))
    if kit.button("Accept all", "every guess lies where it should, curves among them"):
        stage.do(lambda p: accept_guesses(p, guesses))
